// What was told on this phone and has not arrived yet: on the disk first, sent one by one, in order, by one tab or the
// worker, and gone only when the logbook says that it has it. No name is kept: only the logbook can read `writer`.

export const LONGEST = 20_000;
const FIRST = 1_500, LAST = 300_000;
export const LIFE = Math.random().toString(36).slice(2); // this page's life: its own clock means nothing to another

// Every tab and the worker hear of what changes here.
const ears = [], news = new BroadcastChannel("logbook");
export const hear = ear => ears.push(ear);
function tell(what) {
  news.postMessage(what);
  for (const ear of ears) ear(what);
}
news.onmessage = ({ data }) => { for (const ear of ears) ear(data); };

let opened;
function base() {
  return opened ??= new Promise((done, fail) => {
    const asked = indexedDB.open("logbook", 1);
    asked.onupgradeneeded = () => {
      asked.result.createObjectStore("taps", { keyPath: "n", autoIncrement: true });
      asked.result.createObjectStore("facts");
    };
    asked.onerror = () => { opened = undefined; fail(asked.error); };
    asked.onsuccess = () => {
      const found = asked.result;
      found.onclose = () => { opened = undefined; };
      found.onversionchange = () => { found.close(); opened = undefined; };
      done(found);
    };
  });
}

// One transaction; answers with what `work` asked for, when it is on the disk.
export async function within(mode, work) {
  const tx = (await base()).transaction(["taps", "facts"], mode, { durability: "strict" });
  return new Promise((done, fail) => {
    const asked = work(tx.objectStore("taps"), tx.objectStore("facts"));
    tx.oncomplete = () => done(asked?.result);
    tx.onabort = tx.onerror = () => fail(tx.error);
  });
}

export const all = () => within("readonly", taps => taps.getAll());
export const fact = name => within("readonly", (_taps, facts) => facts.get(name));
export const note = (name, value) => within("readwrite", (_taps, facts) => facts.put(value, name));

export async function keep(...told) {
  await within("readwrite", taps => { for (const each of told) taps.add(each); });
  tell({ changed: 1 });
}

export async function change(n, fields) {
  await within("readwrite", taps => {
    taps.get(n).onsuccess = ({ target: { result } }) => { if (result) taps.put({ ...result, ...fields }); };
  });
  tell({ changed: 1 });
}

export async function drop(n) {
  await within("readwrite", taps => taps.delete(n));
  tell({ changed: 1 });
}

// Take back what was not sent yet. What may be under way or was texted is sent all the same, and struck after it.
export async function unsay(n, strike) {
  await within("readwrite", taps => {
    taps.getAll().onsuccess = ({ target: { result } }) => {
      const found = result.find(each => each.n === n);
      if (!found) return;
      if (found.tried || found.texted) {
        taps.add(strike(found));
        taps.put({ ...found, undone: true });
      } else {
        for (const each of result) if (each.tap === found.tap) taps.delete(each.n); // its photograph too
      }
    };
  });
  tell({ changed: 1 });
}

// How long ago it happened. The phone's clock may have been put back or forward since, so the page's own counts too.
export function age(told) {
  const own = told.life === LIFE ? performance.now() - told.mono : 0;
  return Math.round(Math.max(Date.now() - told.at, own, 0)) + told.back;
}

// -- sending

async function send(told) {
  const head = { writer: told.writer, tap: told.tap, ...told.body };
  if (told.acts) Object.assign(head, { acts: told.acts, age_ms: age(told) });
  let body = JSON.stringify(head);
  const headers = { Accept: "application/json" };
  if (told.blob) {
    body = new FormData();
    for (const name in head) body.append(name, head[name]);
    body.append("photo", told.blob, "photo.jpg");
  } else {
    headers["Content-Type"] = "application/json";
  }
  const answer = await fetch(told.path, {
    method: "POST", body, headers, redirect: "error", cache: "no-store", signal: AbortSignal.timeout(LONGEST),
  });
  // A hotel's or a ferry's network answers 200 with a page of its own: only the logbook answers in JSON.
  const ours = answer.headers.get("Content-Type")?.includes("json");
  return { status: answer.status, said: ours ? await answer.json() : null, after: answer.headers.get("Retry-After") };
}

let wait = FIRST, timer;
function later(seconds) {
  clearTimeout(timer);
  timer = setTimeout(flush, Math.max(wait * (0.7 + 0.6 * Math.random()), 1000 * (seconds || 0)));
  wait = Math.min(wait * 2, LAST);
}

// Send what there is. Answers with what is the matter, if something is: "away" or "refused".
async function run(renew) {
  const stuck = new Set();
  for (;;) {
    const told = (await all()).find(each => !each.say && !stuck.has(each.writer) && !stuck.has(each.writer + each.code));
    if (!told) {
      if (stuck.size) later();
      return stuck.size ? "refused" : "";
    }
    await renew();
    let got;
    try {
      if (!told.tried) await change(told.n, { tried: true });
      got = await send(told);
    } catch {
      later();
      return "away";
    }
    const { status, said, after } = got;
    if ((status === 200 || status === 201) && said) {
      wait = FIRST;
      await within("readwrite", (taps, facts) => {
        taps.delete(told.n);
        if (told.acts) facts.put({ at: told.at - told.back, code: told.code }, "last");
      });
      tell({ saved: told.tap, code: told.code, lang: told.lang, say: said.say || "" });
    } else if (status === 422 && said?.say) {
      await change(told.n, { say: said.say });
    } else if (said && status >= 400 && status < 500 && status !== 429 && status !== 408) {
      // Nobody's, or another site's now: it is kept, and so is what was told after it; the others' go on.
      stuck.add(told.writer + (status === 401 ? "" : told.code));
    } else {
      later(Number(after));
      return "away";
    }
  }
}

let sending, again;
export function flush() {
  again = true;
  return sending ??= (async () => {
    let state = "";
    clearTimeout(timer);
    try {
      while (again) {
        again = false;
        state = await (navigator.locks
          ? navigator.locks.request("logbook", () => run(() => 0)) : (await import("./phone-late.js")).leased(run));
      }
    } catch {
      later();
    } finally {
      sending = undefined;
    }
    tell({ state });
    return state;
  })();
}

// Somebody came back, or the signal did: no more waiting.
export function hurry() {
  wait = FIRST;
  return flush();
}
