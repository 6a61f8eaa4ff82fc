// Keeps the pages of the rivers as they were read last, the form of the diary, a
// reader's own page and the files they need, for banks without a net. A kept page says
// that it is one.
"use strict";
const store = "eclose-2", most = 80;
const readable = (path) => path === "/" || path.startsWith("/river/") && !path.endsWith(".html") || path === "/about";
self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (e) => e.waitUntil((async () => {
  for (const name of await caches.keys()) { if (name !== store) { await caches.delete(name); } }
  await self.clients.claim();
})()));

const keep = async (cache, key, r) => {
  const headers = new Headers(r.headers);
  headers.set("x-kept-at", new Date().toISOString());
  headers.delete("content-encoding");
  headers.delete("content-length");
  await cache.put(key, new Response(await r.blob(), { status: r.status, headers }));
  const keys = await cache.keys();
  for (const old of keys.slice(0, Math.max(0, keys.length - most))) { await cache.delete(old); }
};

// told is a kept page with the time of its keeping at its head.
const told = async (r) => {
  const at = new Date(r.headers.get("x-kept-at"));
  const when = at.toLocaleString("en-GB", { weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });
  const text = `<b>No connection.</b> This page is a copy of ${when}. Cautions in it count only until the time they name; after that the level is unknown.`;
  const body = (await r.text()).replace(/(<p id="offline"[^>]*?) hidden>/, `$1>${text}`);
  return new Response(body, { status: 200, headers: r.headers });
};

self.addEventListener("fetch", (e) => {
  const url = new URL(e.request.url);
  const own = url.pathname.startsWith("/my/"); // a reader's own page, kept under its own address
  const form = own || url.pathname === "/diary/new", page = readable(url.pathname);
  if (e.request.method !== "GET" || url.origin !== location.origin || !(form || page || url.pathname.startsWith("/assets/") || url.pathname === "/app.webmanifest")) { return; }
  e.respondWith((async () => {
    const cache = await caches.open(store);
    const key = form || page ? url.pathname : e.request;
    try {
      const r = await fetch(e.request);
      if (r.ok && !r.redirected && (page ? url.search === "" : true)) { await keep(cache, key, r.clone()); }
      return r;
    } catch (err) {
      const old = await cache.match(key, { ignoreVary: true });
      if (!old) { throw err; }
      return page ? told(old) : old;
    }
  })());
});

// A page that is read names the pages of rivers that should be at hand too.
self.addEventListener("message", (e) => e.waitUntil((async () => {
  const cache = await caches.open(store);
  for (const path of (Array.isArray(e.data) ? e.data : []).filter((p) => typeof p === "string" && readable(p)).slice(0, 20)) {
    try {
      const old = await cache.match(path);
      if (old && Date.now() - Date.parse(old.headers.get("x-kept-at")) < 20 * 60e3) { continue; } // young enough
      const r = await fetch(path);
      if (r.ok && !r.redirected) { await keep(cache, path, r); }
    } catch { return; }
  }
})()));
