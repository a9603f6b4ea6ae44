// Keeps the clock's page and its parts for when there is no network. It reaches /clock/ only, asks
// the network first, and keeps nothing else.

const KEPT_PAGES = "clock";
const PATIENCE_MS = 4000;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (event) => {
  const { method, url } = event.request;
  const { origin, pathname } = new URL(url);
  const own = origin === location.origin && (pathname.startsWith("/clock/") || pathname.startsWith("/static/"));
  if (method === "GET" && own) event.respondWith(answered(event.request));
});

/** The network's answer, kept; or, where none comes in time, the one kept before. */
async function answered(request) {
  const pages = await caches.open(KEPT_PAGES);
  const before = await pages.match(request, { ignoreSearch: true, ignoreVary: true });
  const fresh = fetch(request).then((answer) => {
    if (answer.ok && !answer.redirected) pages.put(request, answer.clone());
    return answer;
  });
  if (!before) return fresh;
  const late = new Promise((resolve) => setTimeout(() => resolve(before), PATIENCE_MS));
  return Promise.race([fresh.catch(() => before), late]);
}
