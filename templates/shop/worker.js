// Keeps check-in forms on this device so that they open without a connection. Always asks the server
// first; what is kept is shown only when the server cannot be reached. Nothing that is sent is kept here:
// that is the outbox's (outbox.js). Kept pages name customers' instruments, so signing out, and the
// sign-in page, which stands between one person and the next, throw them away.
"use strict";
const facts = {{ facts }};
const FILES = `saddleroom files ${facts.release}`;
const PAGES = `saddleroom pages ${facts.release}`;
const MOST_PAGES = 100;
const addressOf = (pattern) => new RegExp(`^${pattern.replace("TAG", "[^/]+")}$`, "i");
const FORM = addressOf(facts.form);
const INSTRUMENT = addressOf(facts.instrument);
const SCANNED = addressOf(facts.scanned);
const AWAY = [502, 503, 504]; // a proxy's word for a server that is not there

addEventListener("install", (event) => event.waitUntil(install()));
addEventListener("activate", (event) => event.waitUntil(activate()));
addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (origin !== location.origin) return;
  if (request.mode === "navigate" && request.method === "GET") event.respondWith(page(event, pathname));
  else if (request.mode === "navigate" && pathname === facts.signOut) event.respondWith(signOut(request));
  else if (request.method === "GET" && facts.files.includes(pathname))
    event.respondWith(fetch(request).catch(async () => (await caches.match(pathname, { ignoreVary: true })) || Response.error()));
});

async function install() {
  const files = await caches.open(FILES);
  await files.addAll(facts.files.map((file) => new Request(file, { cache: "reload" })));
  await files.put(facts.offline, await fetch(facts.offline, { credentials: "omit" }));
  await skipWaiting();
}

// A new release fetches anew the forms that the old one had kept, since they name the old files.
async function activate() {
  for (const name of await caches.keys()) {
    if (name === FILES || name === PAGES) continue;
    if (name.startsWith("saddleroom pages"))
      for (const request of await (await caches.open(name)).keys()) await fetchAndKeep(new URL(request.url).pathname);
    await caches.delete(name);
  }
  await clients.claim();
}

async function page(event, path) {
  let answer;
  try {
    answer = await fetch(event.request);
  } catch {
    return (await kept(path)) || (await scanned(path)) || standIn();
  }
  if (AWAY.includes(answer.status)) return (await kept(path)) || (await scanned(path)) || answer;
  if (path === facts.signIn) event.waitUntil(caches.delete(PAGES));
  else if (answer.ok && (FORM.test(path) || path === facts.waiting)) event.waitUntil(keep(path, answer.clone()));
  else if (answer.ok && INSTRUMENT.test(path)) event.waitUntil(fetchAndKeep(`${path}check-in/`));
  return answer;
}

async function keep(path, answer) {
  const pages = await caches.open(PAGES);
  await pages.put(path, answer);
  const all = await pages.keys();
  if (all.length > MOST_PAGES) await pages.delete(all.find((key) => FORM.test(new URL(key.url).pathname)));
  if (path !== facts.waiting && !(await pages.match(facts.waiting, { ignoreVary: true }))) await fetchAndKeep(facts.waiting);
}

async function fetchAndKeep(path) {
  const answer = await fetch(path).catch(() => null);
  if (answer?.ok && !answer.redirected) await keep(path, answer);
}

// A tag may be written in either case. A page older than a sign-in lasts is no longer anyone's.
async function kept(path) {
  const pages = await caches.open(PAGES);
  const same = (key) => new URL(key.url).pathname.toLowerCase() === path.toLowerCase();
  const key = (await pages.keys()).find(same);
  const answer = key && (await pages.match(key, { ignoreVary: true }));
  if (!answer) return null;
  const since = new Date(answer.headers.get("Date"));
  if (!(Date.now() - since < facts.longestMs)) return (await pages.delete(key)) && null;
  return marked(answer, since);
}

// A scanned tag leads to its form, as the server would have it.
async function scanned(path) {
  const form = SCANNED.test(path) && facts.form.replace("TAG", path.split("/").at(-2));
  return form && (await kept(form)) ? Response.redirect(form) : null;
}

async function standIn() {
  const answer = await caches.match(facts.offline, { ignoreVary: true });
  return answer ? marked(answer, new Date()) : Response.error();
}

// The page learns from its body that it was not fetched just now.
async function marked(answer, since) {
  const text = (await answer.text()).replace("<body", `<body data-kept="${since.toISOString()}"`);
  const headers = new Headers(answer.headers);
  for (const name of ["Content-Encoding", "Content-Length"]) headers.delete(name);
  return new Response(text, { headers });
}

async function signOut(request) {
  const answer = await fetch(request).catch(standIn);
  await caches.delete(PAGES);
  return answer;
}
