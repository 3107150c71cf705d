// The worker between the phone's pages and the network. A machine's page is shown at once as it was last, and fetched
// anew behind it. Kept: those pages, under their address, and our own files. Never kept: any other page, any answer to
// a tap. Whoever signs in or out leaves nothing behind. `EDITION`, `FILES` and `flush` are put before this.

const PAGES = "pages", OURS = `files ${EDITION}`;
const LANGUAGE = "/language"; // in PAGES: the one that was read last, for a plate that is opened without signal
const PAGE = /^\/([a-z]{2})\/m\/([^/]+)$/, PLATE = /^\/m\/([^/]+)$/, FILE = /^\/static\/[^/]+\/(.+)$/;

addEventListener("install", event => {
  skipWaiting();
  event.waitUntil(caches.open(OURS).then(kept => kept.addAll(FILES.map(name => `/static/${EDITION}/${name}`))));
});

addEventListener("activate", event => event.waitUntil((async () => {
  for (const name of await caches.keys()) if (name !== PAGES && name !== OURS) await caches.delete(name);
  await clients.claim();
})()));

// One address for a page, however it was typed.
const key = path => path.replace(PAGE, (_all, lang, code) => `/${lang}/m/${code.toUpperCase()}`);

async function fresh(path, request) {
  const from = epoch;
  const answer = await fetch(request || path, { cache: "no-store" });
  const pages = await caches.open(PAGES);
  const whole = answer.ok && !answer.redirected && answer.headers.get("Content-Type")?.startsWith("text/html");
  if (whole && from === epoch) await pages.put(key(path), answer.clone());
  else if (answer.redirected || answer.type === "opaqueredirect" || answer.status === 404) await pages.delete(key(path));
  return answer;
}

async function page(event, path) {
  const pages = await caches.open(PAGES), kept = await pages.match(key(path));
  if (!kept) return fresh(path, event.request);
  event.waitUntil((async () => {
    await pages.put(LANGUAGE, new Response(path.match(PAGE)[1]));
    const answer = await fresh(path);
    const page = await clients.get(event.resultingClientId);
    page?.postMessage({ fresh: answer.ok && !answer.redirected });
  })().catch(() => 0));
  return kept;
}

// The plate's square code: the machine's page in the language that was read last, if it is kept.
async function plate(event, code) {
  const pages = await caches.open(PAGES);
  const lang = await (await pages.match(LANGUAGE))?.text();
  if (lang && await pages.match(key(`/${lang}/m/${code}`))) return Response.redirect(`/${lang}/m/${code}`, 303);
  return fetch(event.request);
}

// Another edition's address gives today's file, as the server has it.
async function file(event, name) {
  const ours = await caches.open(OURS);
  return await ours.match(`/static/${EDITION}/${name}`) || fetch(event.request);
}

let epoch = 0; // what was asked for before somebody left is not kept after
async function forget() {
  epoch++;
  await caches.delete(PAGES);
  await new Promise(done => setTimeout(done, 2_000)); // by then it is known who is there now
  for (const each of await clients.matchAll()) if (PAGE.test(new URL(each.url).pathname)) each.postMessage({ fresh: false });
}

addEventListener("fetch", event => {
  const { request } = event, { origin, pathname, search } = new URL(request.url);
  if (origin !== location.origin) return;
  if (request.method !== "GET") {
    if (!/^\/[a-z]{2}\/m\//.test(pathname)) event.waitUntil(forget()); // signed in, out, or somebody else
    return;
  }
  let match;
  if ((match = pathname.match(FILE)) && FILES.includes(match[1])) event.respondWith(file(event, match[1]));
  else if (PAGE.test(pathname) && request.mode === "navigate") {
    if (!search) event.respondWith(page(event, pathname));
    else event.respondWith(fetch(request).catch(async () => await caches.match(key(pathname)) || Response.error()));
  } else if (PAGE.test(pathname)) {
    const kept = request.headers.get("X-Kept") && caches.match(key(pathname));
    event.respondWith(Promise.resolve(kept).then(found => found || fresh(pathname)));
  } else if ((match = pathname.match(PLATE)) && request.mode === "navigate") event.respondWith(plate(event, match[1]));
});

addEventListener("message", event => {
  if (event.data.forget) event.waitUntil(forget());
  // Pages to be had without signal: this one, and the same in the other languages.
  for (const path of event.data.keep || []) {
    if (PAGE.test(path)) {
      event.waitUntil(caches.match(key(path)).then(found => found || fresh(path)).catch(() => 0));
    }
  }
  if (event.data.lang) event.waitUntil(caches.open(PAGES).then(pages => pages.put(LANGUAGE, new Response(event.data.lang))));
});

addEventListener("sync", event => event.waitUntil(flush().then(left => {
  if (left) throw new Error(left); // the browser tries again by itself
})));
