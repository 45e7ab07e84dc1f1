"use strict";
// Answers for the forms and what they draw with while the shop's computer is out of reach.
const PAGES = "dockside-pages";
const HELD = /^\/(write(\/[a-z-]+)?|assets\/[a-z]+\.(css|js))$/;
const WAITS_MS = 4000;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (event) => {
  const address = new URL(event.request.url);
  if (event.request.method !== "GET" || address.origin !== location.origin) return;
  if (HELD.test(address.pathname)) event.respondWith(answer(event.request));
});

async function answer(request) {
  const pages = await caches.open(PAGES);
  try {
    const fresh = await fetch(request, { signal: AbortSignal.timeout(WAITS_MS) });
    // A page that leads to the sign-in is nobody's form, and must not take the form's place.
    if (fresh.ok && !fresh.redirected && fresh.type === "basic") {
      await pages.put(new URL(request.url).pathname, fresh.clone());
    }
    return fresh;
  } catch (error) {
    const held = await pages.match(new URL(request.url).pathname);
    if (held) return held;
    throw error;
  }
}
