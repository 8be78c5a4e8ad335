// Where there is no line, shows the one page that shell.js keeps instead of any page of the bench. With a line it only
// passes on: it keeps nothing itself, and answers for no page that holds anybody's data.
"use strict";

const SHELL = "without-a-line";
const PARTS = ["style", "script"];

async function passOn(request, instead) {
  try {
    return await fetch(request);
  } catch (fault) {
    const kept = await caches.match(instead);
    if (!kept) throw fault;
    return kept;
  }
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  if (request.method !== "GET") return;
  if (request.mode === "navigate") event.respondWith(passOn(request, new URL(SHELL, self.registration.scope).href));
  else if (PARTS.includes(request.destination)) event.respondWith(passOn(request, request));
});
self.addEventListener("install", () => self.skipWaiting());
