// Opens the app without a connection, and does nothing else: entries are the page's business. The server puts FILES, the
// static files of this version that a tub page needs, before this text.
const [STATIC, PAGES] = [`chitbook-static-${VERSION}`, "chitbook-pages"];
const PATIENCE_MS = 3000, MOST_PAGES = 24;
const NO_PAGE = "/offline";
const KEPT = /^\/$|^\/batches\/\d+\/tub$/;

self.addEventListener("install", (event) => {
  // The new worker waits until the pages of the old one are closed: no page gets files of two versions.
  event.waitUntil(caches.open(STATIC).then((cache) => cache.addAll([...FILES, NO_PAGE])));
});

self.addEventListener("activate", (event) => event.waitUntil(tidy().then(() => self.clients.claim()).then(keepOpen)));

// The pages that were open before this worker was: the first of all visits can be repeated without a connection too.
async function keepOpen() {
  for (const { url } of await self.clients.matchAll({ type: "window", includeUncontrolled: true })) {
    const path = new URL(url).pathname;
    if (KEPT.test(path)) await keeping(path, { pathname: path }).catch(() => null);
  }
}

// Old caches go; what the outbox holds in IndexedDB is never touched here.
async function tidy() {
  for (const name of await caches.keys()) {
    if (name.startsWith("chitbook-") && name !== STATIC && name !== PAGES) await caches.delete(name);
  }
}

self.addEventListener("fetch", (event) => {
  const { request } = event, url = new URL(request.url);
  if (url.origin !== location.origin) return;
  if (url.pathname.startsWith("/sync/")) event.respondWith(watching(request));
  else if (request.method !== "GET") return;
  else if (url.pathname.startsWith("/static/")) event.respondWith(fromCache(request));
  else if (request.mode === "navigate") event.respondWith(page(event, url));
  else if (KEPT.test(url.pathname)) event.respondWith(keeping(request, url));
  else event.respondWith(watching(request));
});

// The name of a static file tells its content: what is here is right for ever.
async function fromCache(request) {
  const known = await caches.match(request, { ignoreVary: true });
  return known ?? fetch(request);
}

// A device that the house no longer knows keeps no page of it. What waits in the outbox stays.
async function watching(request) {
  const answer = await fetch(request);
  if (answer.status === 401) await caches.delete(PAGES);
  return answer;
}

async function keeping(request, url) {
  const answer = await watching(request);
  if (answer.ok && !answer.redirected && KEPT.test(url.pathname)) await keep(url.pathname, answer.clone());
  return answer;
}

async function keep(path, answer) {
  const cache = await caches.open(PAGES);
  await cache.delete(path);
  await cache.put(path, answer);
  const paths = (await cache.keys()).filter((each) => new URL(each.url).pathname !== "/");
  for (const old of paths.slice(0, Math.max(0, paths.length - MOST_PAGES))) await cache.delete(old);
}

// The network first; after three seconds, or without one, the last good copy.
async function page(event, url) {
  const fresh = keeping(event.request, url);
  event.waitUntil(fresh.catch(() => null));
  const late = new Promise((resolve) => setTimeout(resolve, PATIENCE_MS));
  const answer = await Promise.race([fresh.catch(() => null), late]);
  if (answer) return answer;
  const kept = KEPT.test(url.pathname) && (await (await caches.open(PAGES)).match(url.pathname, { ignoreVary: true }));
  return kept || fresh.catch(() => caches.match(NO_PAGE, { ignoreVary: true }));
}
