// From a button and its fields to what it tells, and from that to a text. What kinds there are, their words and their
// numbers come with the page, out of the catalogue: { kind: [word, field, family, low, high, many, required] }.

const ALPHABET = "23456789ABCDEFGHJKMNPQRSTVWXYZ"; // as domain/tapcode.py
const WITHIN = 14 * 3_600_000, AHEAD = 300_000;

export function newTap() {
  const large = crypto.getRandomValues(new Uint32Array(10)); // 2^32 is not a multiple of 30, by one in 10^8
  return Array.from(large, each => ALPHABET[each % 30]).join("");
}

// The acts that a button tells, or the field that cannot be read.
export function acts(form, button, kinds) {
  const ticked = button.dataset.card;
  const names = ticked
    ? [...form.querySelectorAll(`[name="${ticked}"]:checked`)].map(each => each.value)
    : button.dataset.act.split(" ");
  const told = [];
  for (const kind of names) {
    const [, field, , low, high, many, required] = kinds[kind] || [];
    const data = {}, chosen = [], written = [], notes = [];
    let left, first;
    for (const each of form.elements) {
      const [of, item = ""] = each.name.split(".");
      if (of !== kind || !each.value.trim() || (/radio|checkbox/.test(each.type) && !each.checked)) continue;
      if (item === "note") {
        notes.push(each.value.trim().replace(/\.+$/, ""));
        continue;
      }
      first = each;
      const [name, times] = item.split(":");
      if (name !== field) continue;
      if (each.value === "-") { left = each; continue; }
      const number = Math.round(Number(each.value.trim().replace(",", ".")) * (times || 1));
      if (!(number >= low && number <= high)) return { wrong: each };
      (times ? written : chosen).push(number);
    }
    if (left && chosen.length && !written.length) return { wrong: left };
    const numbers = written.length ? written : chosen;
    if (numbers.length) data[field] = many ? numbers : numbers.at(-1);
    else if (required) return { wrong: first || form.querySelector(`[name^="${kind}."]`) };
    if (notes.length) data.note = notes.join(". ").slice(0, 1_000);
    else if (kind === "fault" || kind === "note") return { wrong: form.querySelector(`textarea[name="${kind}.note"]`) };
    told.push({ kind, data });
  }
  return told.length ? { acts: told } : { wrong: form.querySelector(`[name="${ticked}"]`) || button };
}

// How long before now it happened, in milliseconds: minutes ago, or the latest such time by the clock on the wall.
export function back(form) {
  const at = form.elements.at;
  if (!at?.value) return { back: 60_000 * (form.elements.when?.value || 0) };
  const now = new Date(), then = new Date(now);
  then.setHours(...at.value.split(":"), 0, 0);
  if (then - now > AHEAD) then.setDate(then.getDate() - 1);
  return now - then > WITHIN ? { wrong: at } : { back: Math.max(0, now - then) };
}

// ------------------------------------------------------------------------------------------------------- as a text

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

// 0512 is sure by its first nought, 1730 by its hour; from ten to one, am or pm has to be said.
function clock(at) {
  const then = new Date(at), hour = then.getHours(), minute = String(then.getMinutes()).padStart(2, "0");
  const day = new Date().toDateString() === then.toDateString() || Date.now() - at < WITHIN ? "" : "yesterday ";
  if (hour > 9 && hour < 13) return `${day}${hour}:${minute}${hour < 12 ? "am" : "pm"}`;
  return day + String(hour).padStart(2, "0") + minute;
}

// The texts that tell these taps: each within 160 signs where it can be; remarks alone, lest they swallow what follows.
export function texts(told, kinds) {
  const made = [];
  for (const each of told) {
    if (!each.acts || Date.now() - each.at + each.back > 86_400_000) continue;
    const alone = each.acts.some(act => act.data.note);
    const words = each.acts.map(act => said(act, kinds)).join(", ");
    const tail = `${words}${alone ? "," : ""} ${clock(each.at - each.back)} #${each.tap}`;
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
