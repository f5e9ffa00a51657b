/* Keeps the page's files, so that it opens without a connection.

   The network is asked first, always, and the files kept are only for when it does not answer: so no old file is ever
   shown while the server can be reached. All files of one version are kept together, in a store named by the hash of
   their contents; a changed file changes this script, and the browser then keeps the new set and drops the old one.
   Calls to the service are left alone: their answers are never kept here. Nor is the chart library, since plots draw
   such answers. */

const VERSION = "{{ version }}";
const FILES = {{ files }};
const STORE = `transit-page-${VERSION}`;
const PATIENCE_MS = 5000;

self.addEventListener("install", (event) => {
  event.waitUntil(
    caches
      .open(STORE)
      .then((store) => store.addAll(FILES.map((path) => new Request(path, { cache: "no-cache" }))))
      .then(() => self.skipWaiting()),
  );
});

self.addEventListener("activate", (event) => {
  event.waitUntil(
    caches
      .keys()
      .then((names) => Promise.all(names.filter((name) => name !== STORE).map((name) => caches.delete(name))))
      .then(() => self.clients.claim()),
  );
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  const isOurs = origin === self.location.origin && FILES.includes(pathname);
  if (request.method === "GET" && isOurs) event.respondWith(freshOrKept(request, pathname));
});

async function freshOrKept(request, pathname) {
  const store = await caches.open(STORE);
  const kept = await store.match(pathname, { ignoreVary: true });
  const fresh = fetch(request);
  if (!kept) return fresh;
  let timer;
  const late = new Promise((resolve) => {
    timer = setTimeout(resolve, PATIENCE_MS, kept);
  });
  try {
    const answer = await Promise.race([fresh, late]);
    return answer.status >= 500 ? kept : answer;
  } catch {
    return kept;
  } finally {
    clearTimeout(timer);
    fresh.catch(() => {});
  }
}
