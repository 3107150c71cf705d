// The phone's page of a machine, made to work without signal: what is tapped is kept first, shown, and then sent.
// Without this, everything works as plain forms do. `#acts` and its buttons are described in templates/phone.html.

import { acts, back, newTap, texts } from "./phone-act.js";
import { LIFE, all, change, drop, fact, flush, hear, hurry, keep, unsay } from "./phone-queue.js";

const find = (what, within = document) => within.querySelector(what);
const form = () => find("#acts"), words = find("#queue").dataset, kinds = JSON.parse(words.kinds);
const fill = (what, with_) => what.replace(/\{\w+\}/, () => with_);
const language = document.documentElement.lang, native = new WeakSet();
let away = "", last = {}, renewed = -1e4;

// ---------------------------------------------------------------------------------------------------------- telling

document.addEventListener("submit", async event => {
  const { target, submitter: button } = event;
  if (target !== form() || !button || native.has(button)) return;
  event.preventDefault();
  // A thumb that comes down twice has told it once; and what has just moved under a thumb was not meant by it.
  const now = performance.now();
  if ((last.button === button && now - last.at < 1_000) || (now - renewed < 350 && places.get(act(button)) !== place(button))) return;
  last = { button, at: now };
  try {
    await tell(target, button);
    flush();
  } catch {
    native.add(button); // nothing can be kept on this phone: as if there were no script
    setTimeout(() => target.requestSubmit(button));
  }
});

async function tell(target, button) {
  const { code, lang, writer } = target.dataset, path = `/${lang}/m/${code}`;
  const mono = performance.now(), common = { code, lang, writer, at: Date.now(), mono, life: LIFE, back: 0 };
  const label = (find("span", button)?.firstChild || button).textContent.trim();
  if (button.dataset.undoOf) {
    const kept = (await all()).filter(each => each.acts && each.code === code && each.writer === writer && !each.undone && !each.say);
    if (kept.length) return takeBack(kept.at(-1).n);
    const undo_of = button.dataset.undoOf.split(" ");
    await keep({ ...common, tap: newTap(), path: `${path}/undo`, label, body: { undo_of } });
    return say(fill(words.noted, label));
  }
  const told = acts(target, button, kinds), when = back(target);
  const wrong = told.wrong || when.wrong;
  if (wrong) {
    say(words.unread, true);
    wrong.closest("details")?.setAttribute("open", "");
    wrong.focus();
    last = {};
    return;
  }
  const said = button.dataset.card
    ? [...target.querySelectorAll(`[name="${button.dataset.card}"]:checked + span`)].map(each => each.textContent).join(", ")
    : told.acts.some(each => each.kind === "fault") ? `${told.acts[0].data.note}` : label;
  const { told: card } = button.dataset;
  const tap = newTap(), one = { ...common, tap, path: `${path}/taps`, back: when.back, acts: told.acts, label: said, body: card ? { told: card } : {} };
  const file = target.elements.photo?.files[0];
  await keep(one);
  say(fill(words.noted, said));
  target.reset();
  button.closest("details")?.removeAttribute("open");
  if (!file || told.acts[0].kind !== "fault") return;
  const blob = await (await import("./phone-photo.js")).small(file).catch(() => 0); // what cannot be drawn is no picture
  if (blob) await keep({ ...common, tap, path: `${path}/photo`, blob, label: words.photo });
}

function takeBack(n) {
  return unsay(n, each => ({
    code: each.code, lang: each.lang, writer: each.writer, at: Date.now(), mono: performance.now(), life: LIFE, back: 0,
    tap: newTap(), path: each.path.replace(/taps$/, "undo"), label: words.undo, body: { undo_of: each.tap },
  }));
}

// ---------------------------------------------------------------------------------------------------------- showing

// What has just come of a tap, above what is known.
function say(sentence, wrong) {
  const box = document.createElement("div"), line = document.createElement("p");
  box.className = wrong ? "wrong" : "done";
  box.setAttribute("role", wrong ? "alert" : "status");
  line.textContent = sentence;
  box.append(line);
  for (const each of find("#say").querySelectorAll(".done,.wrong")) each.remove();
  find("#say").prepend(box);
}

const clock = at => new Date(at).toLocaleTimeString(language, { hour: "2-digit", minute: "2-digit", hourCycle: "h23" });

function line(each) {
  const { writer } = form()?.dataset || {}, item = find("template", find("#queue")).content.cloneNode(true).firstChild;
  const said = each.writer === writer ? each.label : words.other;
  find("p", item).textContent = `${each.code} ${clock(each.at - each.back)} ${said}${each.say ? ": " + each.say : ""}`;
  const [take, seen] = item.querySelectorAll("button");
  if (!each.acts || each.say || each.undone || each.writer !== writer) take.remove();
  if (!each.say) seen.remove();
  take.onclick = () => takeBack(each.n).then(flush);
  seen.onclick = () => drop(each.n);
  item.className = each.say ? "late" : "";
  return item;
}

async function show() {
  const told = await all(), waiting = told.filter(each => !each.say && !each.undone);
  find("#kept").hidden = !told.length;
  find("#kept ul").replaceChildren(...told.map(line));
  const foot = find("#state"), b = find("b", foot), span = find("span", foot), count = waiting.length;
  foot.classList.toggle("waits", count > 0);
  find("svg", foot)?.replaceWith(find(`[data-mark=${count ? "due" : "clear"}] svg`, find("#queue")).cloneNode(true));
  find("a", foot)?.remove();
  if (!count) {
    const sent = await fact("last");
    b.textContent = words.sent;
    if (sent) span.textContent = fill(words.last, clock(sent.at));
    return;
  }
  b.textContent = count === 1 ? words.one : fill(words.many, count);
  span.textContent = away === "refused" ? words.refused : away || !navigator.onLine ? words.away : words.sending;
  const { line: number } = form()?.dataset || {};
  if (number && (away || !navigator.onLine)) foot.append(texting(waiting, number));
}

// The first text that tells what waits and was not texted yet. Whatever becomes of it, nothing is taken off the queue.
function texting(waiting, number) {
  const left = texts(waiting.filter(each => !each.texted), kinds), [first] = left.length ? left : texts(waiting, kinds);
  const link = document.createElement("a");
  if (!first) return link;
  link.className = "button";
  link.textContent = left.length ? words.text : words.again;
  link.href = `sms:${number}?&body=${encodeURIComponent(first.text)}`;
  link.onclick = () => { for (const n of first.ns) change(n, { texted: true }); };
  return link;
}

const act = ({ value }) => value.split(":")[0], place = button => Math.round(button.getBoundingClientRect().top / 8);
let places = new Map();

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
    const told = find("#say .done");
    places = new Map([...form().querySelectorAll("button[data-act]")].map(each => [act(each), place(each)]));
    find("main").replaceChildren(...main.childNodes);
    for (const name of ["header", ".silent"]) {
      const mine = find(name), theirs = find(name, asked.response);
      if (mine && theirs) mine.replaceWith(theirs);
    }
    if (told) find("#say").prepend(told);
    renewed = performance.now();
  };
  asked.send();
}

hear(what => {
  if (what.state !== undefined) away = what.state;
  if (what.saved && what.say && what.code === form()?.dataset.code && what.lang === language) {
    say(what.say);
    renew();
  }
  show();
});

// ---------------------------------------------------------------------------------------------------------- staying

addEventListener("online", hurry);
addEventListener("offline", show);
document.addEventListener("visibilitychange", () => { if (!document.hidden) hurry(); });
addEventListener("pageshow", event => { if (event.persisted) renew(); });

const worker = navigator.serviceWorker;
if (worker) {
  const made = "trustedTypes" in self ? trustedTypes.createPolicy("logbook", { createScriptURL: url => url === "/sw.js" ? url : "" }) : 0;
  worker.register(made ? made.createScriptURL("/sw.js") : "/sw.js", { scope: "/", type: "module" }).then(async found => {
    const { active } = await worker.ready;
    const others = [...document.querySelectorAll("header a[hreflang]")].map(each => each.pathname);
    active.postMessage({ keep: [location.pathname, ...others], lang: language });
    hear(({ state }) => { if (state) found.sync?.register("taps").catch(() => 0); });
  }).catch(() => 0);
  worker.addEventListener("message", ({ data }) => {
    if (data.fresh) renew(true);
    else if (data.fresh === false && !busy()) location.reload(); // not this person's page any more
  });
}
show();
hurry();
