// Keeps the form of the diary and a reader's own page, and the files it needs, for banks without a net.
"use strict";
const store = "eclose-1";
self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (e) => e.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (e) => {
  const url = new URL(e.request.url);
  const own = url.pathname.startsWith("/my/"); // a reader's own page, kept under its own address
  const form = own || url.pathname === "/diary/new";
  if (e.request.method !== "GET" || url.origin !== location.origin || !(form || url.pathname.startsWith("/assets/"))) { return; }
  e.respondWith((async () => {
    const cache = await caches.open(store);
    const key = own ? url.pathname : form ? "/diary/new" : e.request;
    try {
      const r = await fetch(e.request);
      if (r.ok && !r.redirected) { await cache.put(key, r.clone()); }
      return r;
    } catch (err) {
      const old = await cache.match(key);
      if (old) { return old; }
      throw err;
    }
  })());
});
