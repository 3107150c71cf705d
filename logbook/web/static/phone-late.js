// What a page does not need at once: the worker, the queue as texts, a photograph made small. What kinds there are, their
// words and their numbers come with the page, out of the catalogue:
// { kind: [word, field, family, low, high, many, required] }.

import { LIFE, LONGEST, within } from "./phone-queue.js";

const DAY = 86_400_000, WITHIN = 14 * 3_600_000, SIDE = 1_280, MOST = 200_000; // milliseconds, points, octets
const CARD = "empty rinse squeegee charge put_away"; // as channels/text/reading.py has it

// In the alphabet of short messages, and without what would be read as something else.
function plain(words) {
  return words.normalize("NFD").replace(/[\u0300-\u036f]/g, "").replace(/[^ -Za-z]|[#?"]/g, " ").replace(/\s+/g, " ").trim();
}

function said({ kind, data }, kinds) {
  const [word, field, family] = kinds[kind] || [kind];
  if (data.note) return `${word}: ${plain(data.note)}`;
  const value = data[field];
  if (value === undefined) return word;
  return word + " " + {
    volume: () => `${value} ml`,
    percent: () => `${value} %`,
    gravity: () => value,
    hours: () => `${(value / 3600).toFixed(1)} h`,
    length: () => value.map(each => `${(each / 1000).toFixed(1)} mm`).join(" "),
  }[family]();
}

// 0512 is sure by its first nought; from ten on, the colon tells it from a gravity, and am or pm from its other half.
// By the clock of the site, which reads it.
function clock(at, zone) {
  const wall = (field, of = at) => new Intl.DateTimeFormat("en", { timeZone: zone, hourCycle: "h23", ...field }).format(of);
  const hour = Number(wall({ hour: "2-digit" })), two = number => String(number).padStart(2, "0");
  const minutes = two(wall({ minute: "2-digit" })), date = { dateStyle: "short" };
  const day = wall(date) === wall(date, Date.now()) || Date.now() - at < WITHIN ? "" : "yesterday ";
  const half = hour > 12 ? "" : hour === 12 ? "pm" : "am";
  return day + two(hour) + (hour < 10 ? minutes : `:${minutes}${half}`);
}

// The texts that tell these taps: each within 160 signs where it can be; remarks alone, lest they swallow what follows.
export function texts(told, kinds) {
  const made = [];
  for (const each of told) {
    if (!each.acts || Date.now() - each.at + each.back > DAY) continue;
    const alone = each.acts.some(act => act.data.note);
    // The whole end card has a word of its own, by which reports know it for what it is.
    const words = each.body?.told && each.acts.map(act => act.kind + Object.keys(act.data)).join(" ") === CARD
      ? "all" : each.acts.map(act => said(act, kinds)).join(", ");
    const tail = `${words}${alone ? "," : ""} ${clock(each.at - each.back, each.zone)} #${each.tap}`;
    const last = made.at(-1);
    const longer = last && `${last.text} ${last.code === each.code ? "" : each.code + " "}${tail}`;
    if (last && !alone && !last.alone && longer.length <= 160) {
      Object.assign(last, { text: longer, code: each.code });
      last.ns.push(each.n);
    } else {
      made.push({ text: `${each.code} ${tail}`, code: each.code, alone, ns: [each.n] });
    }
  }
  return made;
}

// A photograph drawn anew: the picture alone, without where it was taken.
export async function small(file) {
  const image = await createImageBitmap(file, { imageOrientation: "from-image" });
  let scale = Math.min(1, SIDE / Math.max(image.width, image.height));
  for (;;) {
    const canvas = document.createElement("canvas");
    canvas.width = Math.max(1, Math.round(image.width * scale));
    canvas.height = Math.max(1, Math.round(image.height * scale));
    canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
    for (const quality of [0.8, 0.65, 0.5, 0.35]) {
      const made = await new Promise(done => canvas.toBlob(done, "image/jpeg", quality));
      if (made && made.size <= MOST) return made;
    }
    scale *= 0.75;
  }
}

// Have the worker keep this page, and the same in the other languages, and send by itself when there is signal again.
export async function stay(hear) {
  const worker = navigator.serviceWorker, policy = self.trustedTypes?.createPolicy("logbook", { createScriptURL: () => "/sw.js" });
  if (!worker) return;
  const found = await worker.register(policy ? policy.createScriptURL("") : "/sw.js", { scope: "/", type: "module" });
  const { active } = await worker.ready;
  const others = [...document.querySelectorAll("header a[hreflang]")].map(each => each.pathname);
  active.postMessage({ keep: [location.pathname, ...others], lang: document.documentElement.lang });
  hear(({ state }) => { if (state) found.sync?.register("taps").catch(() => 0); });
}

// Without Web Locks: whoever holds the lease sends. It runs out by itself, should its holder be gone.
export async function leased(work) {
  const claim = async steal => {
    let mine;
    await within("readwrite", (_taps, facts) => {
      facts.get("lease").onsuccess = ({ target: { result } }) => {
        mine = steal || !result || result.by === LIFE || result.until < Date.now();
        if (mine) facts.put({ by: LIFE, until: Date.now() + LONGEST + 5_000 }, "lease");
      };
    });
    return mine;
  };
  while (!await claim()) await new Promise(done => setTimeout(done, 500));
  try {
    return await work(() => claim(true));
  } finally {
    await within("readwrite", (_taps, facts) => facts.delete("lease"));
  }
}
