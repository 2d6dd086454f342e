// Keeps the field page on the phone. VERSION and SHELL stand above this text as it is served.
// Entries are none of its business: they wait in the page's own database.

const NAME = `field-${VERSION}`;

self.addEventListener("install", (event) => {
  event.waitUntil(
    caches.open(NAME)
      .then((cache) => cache.addAll(SHELL.map((path) => new Request(path, { cache: "reload" }))))
      .then(() => self.skipWaiting()),
  );
});

self.addEventListener("activate", (event) => {
  event.waitUntil(
    caches.keys()
      .then((names) => Promise.all(names.filter((n) => n.startsWith("field-") && n !== NAME).map((n) => caches.delete(n))))
      .then(() => self.clients.claim()),
  );
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const path = new URL(request.url).pathname;
  if (request.method !== "GET" || !SHELL.includes(path)) return;
  // The page and its scripts are of one make: all from the cache, renewed together.
  event.respondWith(
    caches.open(NAME)
      .then((cache) => cache.match(path))
      .then((kept) => kept ?? fetch(request)),
  );
});
