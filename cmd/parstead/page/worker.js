// Lets the screens of entry open without signal, where the browser allows it
// (under TLS, or on the machine itself). What the daemon answers always comes
// first; only files are kept, never a value.
"use strict";

const shell = "parstead-1", files = ["/enter", "/enter.js", "/page.css"], patience = 4000;

addEventListener("install", (event) => {
  skipWaiting();
  event.waitUntil(caches.open(shell).then((cache) => cache.addAll(files.slice(1))));
});
addEventListener("activate", (event) => event.waitUntil(clients.claim()));

// Once the code is in, the page itself is kept too: it may be the only one that is
// opened with signal.
addEventListener("message", (event) => event.waitUntil(caches.open(shell).then((cache) => cache.add("/enter")).catch(() => { /* the next one that opens is kept */ })));

addEventListener("fetch", (event) => {
  const url = new URL(event.request.url), opens = event.request.mode === "navigate";
  if (event.request.method !== "GET" || (!opens && !files.includes(url.pathname))) return;
  event.respondWith(answer(event.request, opens ? "/enter" : url.pathname, opens && url.pathname !== "/enter"));
});

async function answer(request, name, deeper) {
  const cache = await caches.open(shell);
  let fresh;
  try {
    fresh = await fetch(request, request.mode === "navigate" ? undefined : { signal: AbortSignal.timeout?.(patience) });
  } catch (failed) {
    const known = await cache.match(name);
    if (!known) throw failed;
    return known;
  }
  try {
    if (fresh.ok) await (deeper ? cache.add(name) : cache.put(name, fresh.clone()));
  } catch { /* no room, or no signal any more: it opens later with signal only */ }
  return fresh;
}
