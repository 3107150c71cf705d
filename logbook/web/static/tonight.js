// Tonight, live: asks for the page anew when there is news, and changes only what is different.
//
// Promises that whoever types, has something open or stands on a button keeps it; that a string never becomes markup;
// and that a page which hears nothing any more says so, with the hour.

const board = document.getElementById('board'), sign = document.getElementById('sign');
const live = document.getElementById('live'), words = sign.dataset;
const SVG = 'http://www.w3.org/2000/svg', HTML = 'http://www.w3.org/1999/xhtml';
const LOOK_EVERY = 300000, SLEEP_AFTER = 60000;

let version = board.dataset.version, ahead = Number(board.dataset.now) - Date.now();
let looked = Number(document.getElementById('looked').dataset.looked || 0);
let source = null, tries = 0, again = 0, sleeping = 0, asking = false, wanted = false, over = false, lostAt = null;

const now = () => Date.now() + ahead;

// -- building and changing the page -----------------------------------------------------------------------------

function build(spec, space) {
  if (typeof spec === 'string') return document.createTextNode(spec);
  const [tag, attributes, children] = spec, within = tag === 'svg' ? SVG : space;
  const made = document.createElementNS(within, tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  for (const child of children) made.append(build(child, within));
  return made;
}

// What somebody has changed themselves stays: fields, and whether a fold is open.
const theirs = (element, name) => element.matches('input, select, textarea, option') || (name === 'open' && element.localName === 'details');

// Never by the property: a form's may be one of its fields.
const named = node => node.nodeType === 1 ? node.getAttribute('id') : null;

function change(element, [, attributes, children]) {
  for (const [name, value] of Object.entries(attributes)) {
    if (element.getAttribute(name) !== value && !theirs(element, name)) element.setAttribute(name, value);
  }
  for (const { name } of [...element.attributes]) {
    if (!(name in attributes) && !theirs(element, name)) element.removeAttribute(name);
  }
  if (element.localName === 'select' && dirty(element)) return;
  const space = element.namespaceURI, keyed = new Map();
  for (const child of element.children) if (named(child)) keyed.set(named(child), child);
  const kept = new Set(children.map(child => child[1] && child[1].id).filter(Boolean));
  let at = element.firstChild;
  for (const child of children) {
    // What is not wanted any more gives way here; a row in which somebody types stays until they are done.
    while (at && named(at) && !kept.has(named(at))) { const next = at.nextSibling; leave(at); at = next; }
    if (typeof child === 'string') {
      if (at && at.nodeType === 3) { if (at.data !== child) at.data = child; at = at.nextSibling; }
      else element.insertBefore(document.createTextNode(child), at);
      continue;
    }
    while (at && at.nodeType === 3) { const next = at.nextSibling; at.remove(); at = next; }
    const id = child[1].id, same = id ? keyed.get(id) : at && !named(at) ? at : null;
    if (same && same.localName === child[0]) {
      if (same === at) at = at.nextSibling; else element.insertBefore(same, at);
      same.classList.remove('gone');
      change(same, child);
    } else element.insertBefore(build(child, space), at);
  }
  while (at) { const next = at.nextSibling; leave(at); at = next; }
}

const dirty = field => field.localName === 'select'
  ? [...field.options].some(each => each.selected !== each.defaultSelected && (each.defaultSelected || each.index > 0))
  : field.type !== 'hidden' && field.value !== field.defaultValue;

function leave(node) {
  if (node.nodeType === 1 && [...node.querySelectorAll('input, select')].some(dirty)) {
    if (!node.classList.contains('gone')) {
      node.classList.add('gone');
      const said = document.createElement('p');
      said.className = 'wrong';
      said.textContent = words.gone;
      node.prepend(said);
    }
    return;
  }
  node.remove();
}

function show(news) {
  const held = document.activeElement, from = held && held.selectionStart, to = held && held.selectionEnd;
  change(board, ['div', Object.fromEntries([...board.attributes].map(each => [each.name, each.value])), news.tree]);
  if (held && held !== document.activeElement && held !== document.body) {
    if (held.isConnected) {
      held.focus({ preventScroll: true });
      if (typeof from === 'number') held.setSelectionRange(from, to);
    } else document.getElementById('main').focus({ preventScroll: true });
  }
  const spoken = document.getElementById('spoken');
  if (version !== news.version && spoken.textContent !== news.headline) spoken.textContent = news.headline;
  version = board.dataset.version = news.version;
  ahead = news.now - Date.now();
  looked = news.looked;
  wind(news.clock, news.now);
  document.title = news.title;
  document.getElementById('day').textContent = news.day;
  tick();
}

// -- asking -----------------------------------------------------------------------------------------------------

const here = location.pathname.replace(/\/$/, '');

async function look() {
  if (over) return;
  if (asking) { wanted = true; return; }
  asking = true;
  try {
    const answer = await fetch(`${here}/rows.json`, { headers: { accept: 'application/json' }, cache: 'no-store' });
    if (answer.status === 401 || answer.status === 404) end();
    else if (answer.ok) show(await answer.json());
  } catch { lost(); } finally {
    asking = false;
    if (wanted) { wanted = false; look(); }
  }
}

function listen() {
  clearTimeout(again);
  if (over || source) return;
  const mine = source = new EventSource(`${here}/live`);
  mine.addEventListener('open', () => { tries = 0; lostAt = null; state('on', words.live); });
  mine.addEventListener('news', event => { if (event.data !== version) look(); });
  mine.addEventListener('pulse', event => { looked = Number(event.data); tick(); });
  mine.addEventListener('over', end);
  mine.addEventListener('error', () => {
    lost();
    if (mine.readyState !== EventSource.CLOSED) return; // the browser tries again by itself, with the last event's id
    source = null;
    tries += 1;
    again = setTimeout(() => { look(); listen(); }, Math.min(30000, 1000 * 2 ** tries) * (0.75 + Math.random() / 2));
  });
}

function end() {
  over = true;
  if (source) source.close();
  source = null;
  state('off', `${words.over} `);
  const link = document.createElement('a');
  link.href = `/${document.documentElement.lang}/sign-in?next=${encodeURIComponent(here)}`;
  link.textContent = words.enter;
  live.append(link);
}

function lost() {
  if (over) return;
  lostAt ??= clock();
  state('off', words.lost.replace('%(time)s', lostAt));
}

function state(how, said) {
  live.className = how;
  if (live.textContent !== said) live.textContent = said;
}

// -- time -------------------------------------------------------------------------------------------------------

// The site's hours: the page came with them, and time goes on alike everywhere.
let began, start;
function wind(shown, at) {
  const [hours, minutes] = shown.split(':').map(each => parseInt(each, 10));
  began = at;
  start = hours * 60 + minutes;
}
wind(document.getElementById('clock').textContent, Number(board.dataset.now));

function clock() {
  const shown = (start + Math.floor((now() - began + (began % 60000)) / 60000)) % 1440;
  return `${String(Math.floor(shown / 60)).padStart(2, '0')}:${String(shown % 60).padStart(2, '0')}`;
}

function span(ms) {
  const all = Math.max(0, Math.floor(ms / 60000)), put = (words_, n) => words_.replace(/%\(\w+\)s/, n);
  if (all < 60) return put(words.minutes, all);
  if (all < 2880) {
    const whole = put(words.hours, Math.floor(all / 60));
    return all % 60 ? `${whole} ${put(words.minutes, all % 60)}` : whole;
  }
  const days = Math.floor(all / 1440), rest = Math.floor(all / 60) % 24;
  const whole = put(days === 1 ? words.day : words.days, days);
  return rest ? `${whole} ${put(words.hours, rest)}` : whole;
}

function tick() {
  const set = (element, said) => { if (element && element.textContent !== said) element.textContent = said; };
  for (const each of board.querySelectorAll('[data-from]')) set(each, span(now() - Number(each.dataset.from)));
  for (const each of board.querySelectorAll('[data-until]')) set(each, span(Number(each.dataset.until) - now()));
  set(document.getElementById('clock'), clock());
  if (!looked) return;
  const seconds = Math.max(0, Math.floor((now() - looked) / 1000));
  set(document.getElementById('looked'), words.looked.replace('%(age)s', seconds < 120 ? `${seconds} s` : span(seconds * 1000)));
}

// -- this window ------------------------------------------------------------------------------------------------

document.addEventListener('visibilitychange', () => {
  clearTimeout(sleeping);
  if (document.visibilityState === 'visible') { look(); listen(); } else {
    sleeping = setTimeout(() => { if (source) source.close(); source = null; }, SLEEP_AFTER);
  }
});
addEventListener('online', () => { look(); listen(); });
addEventListener('pageshow', event => { if (event.persisted) { look(); listen(); } });
// One tap is one act: the form's own id sees to it, and the button says so.
board.addEventListener('submit', event => setTimeout(() => {
  for (const each of event.target.querySelectorAll('button')) each.disabled = true;
}));

// What was just done, or opened, is said once.
if (location.search) history.replaceState(null, '', location.pathname + location.hash);

setInterval(tick, 5000);
setInterval(() => { if (document.visibilityState === 'visible') look(); }, LOOK_EVERY);
listen();
