// The phone's page, made to work without signal: what is tapped is kept, shown, and then sent. Without this it works as
// a plain form does. `#acts` and its buttons are described in templates/phone.html, the words in phone_queue.html.

import { LIFE, all, change, drop, fact, flush, hear, hurry, keep, unsay } from "./phone-queue.js";

const find = (what, within = document) => within.querySelector(what);
const form = () => find("#acts"), words = find("#queue").dataset, kinds = JSON.parse(words.kinds);
const fill = (what, with_) => what.replace(/\{\w+\}/, () => with_);
const language = document.documentElement.lang, native = new WeakSet();
const MINUTE = 60_000, before = find("#state span").textContent;
let away = "", last = {}, renewed = -1e4, shows = 0, stale, places = new Map();

// -- reading

// As domain/tapcode.py has it.
const newTap = () => Array.from(crypto.getRandomValues(new Uint32Array(10)), each =>
  "23456789ABCDEFGHJKMNPQRSTVWXYZ"[each % 30]).join("");

// The acts that a button tells, or the field that cannot be read.
function acts(form, button) {
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

// How long before now it happened, in milliseconds: minutes ago, or the latest such time by the clock on the site's wall,
// which some nights shows a time twice, or never (when.py).
function back(form) {
  const { at, which, when } = form.elements, { zone, timeTwice, timeSkipped, timeFar } = form.dataset;
  if (!at?.value) return { back: MINUTE * (when?.value || 0) };
  const now = Date.now(), wall = wallClock(zone), found = [];
  let skipped, later = "";
  for (let then = Math.floor(now / MINUTE) * MINUTE + 5 * MINUTE; then >= now - 840 * MINUTE; then -= MINUTE) {
    const shown = wall(then);
    if (shown === at.value) found.unshift(then);
    skipped ||= shown < at.value && at.value < later;
    later = shown;
  }
  const chosen = found.length > 1 ? found[which?.value - 1] : found[0];
  if (chosen) return { back: Math.max(0, now - chosen) };
  return { wrong: at, why: found.length ? timeTwice : skipped ? timeSkipped : timeFar };
}

// -- telling

document.addEventListener("submit", async event => {
  const { target, submitter: button } = event;
  if (target !== form() || !button || native.has(button)) return;
  event.preventDefault();
  // A thumb that comes down twice has told it once; and what has just moved under a thumb was not meant by it.
  const now = performance.now();
  if ((last.act === act(button) && now - last.at < 1_000) || (now - renewed < 350 && places.get(act(button)) !== place(button))) return;
  last = { act: act(button), at: now };
  try {
    await tell(target, button);
  } catch {
    native.add(button); // nothing can be kept on this phone: as if there were no script
    setTimeout(() => target.requestSubmit(button));
  }
});

const stamp = () => ({ tap: newTap(), at: Date.now(), mono: performance.now(), life: LIFE, back: 0 });

async function tell(target, button) {
  const { code, lang, writer, zone } = target.dataset, path = `/${lang}/m/${code}`;
  const common = { code, lang, writer, zone, ...stamp() };
  const label = (find("span", button)?.firstChild || find("h3", button.closest("section") || button) || button).textContent.trim();
  if (button.dataset.undoOf) {
    const kept = (await all()).filter(each => each.acts && each.code === code && each.writer === writer && !each.undone && !each.say);
    if (kept.length) {
      await takeBack(kept.at(-1).n);
      say(fill(target.dataset.takenBack || "", kept.at(-1).label));
      return flush();
    }
    await keep({ ...common, path: `${path}/undo`, label, body: { undo_of: button.dataset.undoOf.split(" ") } });
    say(fill(words.noted, label));
    return flush();
  }
  const told = acts(target, button), when = back(target);
  const wrong = told.wrong || when.wrong;
  if (wrong) {
    for (let each = wrong.closest("details"); each; each = each.parentElement.closest("details")) each.open = true;
    say(!told.wrong && when.why || words.unread, wrong);
    last = {};
    return;
  }
  const { card, told: whole } = button.dataset, [first] = told.acts, fault = first.kind === "fault";
  const said = card
    ? [...target.querySelectorAll(`[name="${card}"]:checked + span`)].map(each => each.textContent).join(", ")
    : fault ? first.data.note : label;
  const file = target.elements.photo?.files[0];
  await keep({ ...common, path: `${path}/taps`, back: when.back, acts: told.acts, label: said, body: whole ? { told: whole } : {} });
  target.reset();
  for (const each of target.querySelectorAll("details[open]")) each.open = false; // all of it is told: the answer is above
  say(fill(words.noted, said));
  flush();
  if (!file || !fault) return;
  const blob = await (await import("./phone-late.js")).small(file).catch(() => 0); // what cannot be drawn is no picture
  if (!blob) return;
  await keep({ ...common, path: `${path}/photo`, blob, label: words.photo });
  flush();
}

function takeBack(n) {
  return unsay(n, ({ code, lang, writer, zone, path, tap }) => ({
    code, lang, writer, zone, ...stamp(), path: path.replace(/taps$/, "undo"), label: words.undo, body: { undo_of: tap },
  }));
}

// -- showing

// What has just come of a tap: above what is known, in sight, and read out; or beside the field that was `wrong`.
function say(sentence, wrong) {
  const box = document.createElement("div"), line = document.createElement("p"), heard = find("#heard");
  box.className = wrong ? "wrong" : "done";
  box.tabIndex = -1;
  line.textContent = sentence;
  box.append(line);
  for (const each of form().querySelectorAll(".done,.wrong")) each.remove();
  for (const each of form().querySelectorAll("[aria-invalid]")) each.removeAttribute("aria-invalid");
  if (wrong) {
    box.setAttribute("role", "alert");
    (wrong.closest("fieldset,label") || wrong).before(box);
    if (wrong.matches("input,select,textarea")) wrong.setAttribute("aria-invalid", "true");
    wrong.focus();
    box.scrollIntoView({ block: "center" });
  } else {
    find("#say").prepend(box);
    if (!busy()) find("#say").scrollIntoView({ block: "nearest" });
    if (heard) heard.textContent = sentence; // it stands outside what is put in another's place
  }
}

function wallClock(zone) {
  const shown = new Intl.DateTimeFormat("en", { timeZone: zone, hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
  return at => shown.format(at);
}
const clock = (at, zone) => wallClock(zone)(at);

function line(each) {
  const { writer } = form()?.dataset || {}, item = find("template", find("#queue")).content.cloneNode(true).firstChild;
  const said = each.writer === writer ? each.label : words.other;
  find("p", item).textContent = `${each.code} ${clock(each.at - each.back, each.zone)} ${said}${each.say ? ": " + each.say : ""}`;
  const [take, seen] = item.querySelectorAll("button");
  if (!each.acts || each.say || each.undone || each.writer !== writer) take.remove();
  if (!each.say) seen.remove();
  take.onclick = async () => {
    await takeBack(each.n);
    say(fill(form().dataset.takenBack || "", each.label)); // no more "kept here" of what is kept no more
    flush();
  };
  seen.onclick = () => drop(each.n);
  item.className = each.say ? "late" : "";
  return item;
}

async function show() {
  const turn = ++shows, told = await all(), sent = await fact("last");
  if (turn !== shows) return; // a later one has more to show
  const waiting = told.filter(each => !each.say && !each.undone), { code, writer: me } = form()?.dataset || {};
  // The button takes back what waits here before what was told before it, and says so.
  const latest = waiting.findLast(each => each.acts && each.code === code && each.writer === me), one = find(".back small");
  if (one && latest) one.textContent = `${latest.label} ${clock(latest.at - latest.back, latest.zone)}`;
  find("#kept").hidden = !told.length;
  find("#kept ul").replaceChildren(...told.map(line));
  const foot = find("#state"), b = find("b", foot), span = find("span", foot), count = waiting.length;
  foot.classList.toggle("waits", count > 0);
  find("svg", foot)?.replaceWith(find(`[data-mark=${count ? "due" : "clear"}] svg`, find("#queue")).cloneNode(true));
  find("a", foot)?.remove();
  if (!count) {
    b.textContent = words.sent;
    span.textContent = sent ? fill(words.last, clock(sent.at, form()?.dataset.zone)) : before;
    return;
  }
  b.textContent = count === 1 ? words.one : fill(words.many, count);
  span.textContent = away === "refused" ? words.refused : away || !navigator.onLine ? words.away : words.sending;
  const { line: number, writer } = form()?.dataset || {};
  if (!number || (!away && navigator.onLine)) return;
  // What somebody else told is texted only where there is no other way: a text is its sender's.
  const mine = waiting.filter(each => each.writer === writer || away === "refused");
  const { texts } = await import("./phone-late.js").catch(() => ({}));
  if (!texts || turn !== shows) return;
  const left = texts(mine.filter(each => !each.texted), kinds), [part] = left.length ? left : texts(mine, kinds);
  if (!part) return;
  const link = document.createElement("a");
  link.className = "button";
  link.textContent = left.length ? words.text : words.again;
  link.href = `sms:${number}?&body=${encodeURIComponent(part.text)}`;
  link.onclick = () => { for (const n of part.ns) change(n, { texted: true }); }; // and it stays in the queue
  foot.append(link);
}

const act = ({ value }) => value.split(":")[0], place = button => Math.round(button.getBoundingClientRect().top / 8);

// Whether somebody is in the middle of something on this page, which must not go away under their hands.
function busy() {
  return find("#acts details[open]") || [...form()?.elements || []].some(each =>
    each.matches("textarea, input:not([type=hidden])") && (each === document.activeElement && each.value
      || each.value !== each.defaultValue || each.checked !== each.defaultChecked));
}

// Put today's page in the place of the one that is shown. Read as a document, not as words put into this one.
function renew(kept) {
  if (busy()) return;
  const asked = new XMLHttpRequest();
  asked.open("GET", location.pathname);
  if (kept) asked.setRequestHeader("X-Kept", "1");
  asked.responseType = "document";
  asked.onload = () => {
    const main = asked.response && find("main", asked.response);
    if (asked.status !== 200 || !main || !find("#acts", main) || busy()) return;
    const told = find("#say .done"), within = find("main").contains(document.activeElement);
    places = new Map([...form().querySelectorAll("button[data-act]")].map(each => [act(each), place(each)]));
    find("main").replaceChildren(...main.childNodes);
    for (const name of ["header", ".silent"]) {
      const mine = find(name), theirs = find(name, asked.response);
      if (mine && theirs) mine.replaceWith(theirs);
    }
    if (told) find("#say").prepend(told);
    // Who goes by the keyboard goes on from the answer, not from the beginning of the page.
    if (within) (told || find("main")).focus({ preventScroll: true });
    renewed = performance.now();
  };
  asked.send();
}

hear(what => {
  if (what.state !== undefined) away = what.state;
  if (what.saved && what.say && what.code === form()?.dataset.code && what.lang === language) {
    say(what.say);
    stale = true;
  }
  if (stale && what.state !== undefined) {
    stale = false;
    renew();
  }
  show();
});

// -- staying

addEventListener("online", hurry);
addEventListener("offline", show);
document.addEventListener("visibilitychange", () => {
  if (document.hidden) return;
  hurry();
  if (performance.now() - renewed > 60_000) renew();
});
addEventListener("pageshow", event => { if (event.persisted) renew(); });

navigator.serviceWorker?.addEventListener("message", ({ data }) => {
  if (data.fresh) renew(true);
  else if (data.fresh === false && !busy()) location.reload(); // not this person's page any more
});
show();
hurry();
addEventListener("load", () => import("./phone-late.js").then(late => late.stay(hear)).catch(() => 0));
