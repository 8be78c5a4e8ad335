// Shows the notices of a shop, and opens the page that one is about. It answers for no page and keeps nothing.
"use strict";

function show(event) {
  const notice = event.data.json();
  const looks = { body: notice.body, lang: notice.lang, tag: notice.tag, renotify: true, data: { link: notice.link } };
  event.waitUntil(self.registration.showNotification(notice.title, looks));
}

async function open(link) {
  const windows = await self.clients.matchAll({ type: "window", includeUncontrolled: true });
  const there = windows.find((each) => each.url.split(/[?#]/)[0] === link);
  return there ? there.focus() : self.clients.openWindow(link);
}

function clicked(event) {
  event.notification.close();
  const link = new URL(event.notification.data.link, self.registration.scope);
  if (link.href.startsWith(self.registration.scope)) event.waitUntil(open(link.href)); // and nowhere else
}

// The browser listens under another address now, by its own choice: the shop is told, or it would write to the old one.
async function moved({ oldSubscription: old, newSubscription }) {
  const { endpoint, keys } = (newSubscription || await self.registration.pushManager.subscribe(old.options)).toJSON();
  const body = new URLSearchParams({ old: old.endpoint, endpoint, key: keys.p256dh, secret: keys.auth });
  await fetch("notices/moved", { method: "POST", body, credentials: "omit" });
}

self.addEventListener("push", show);
self.addEventListener("pushsubscriptionchange", (event) => { if (event.oldSubscription) event.waitUntil(moved(event)); });
self.addEventListener("notificationclick", clicked);
self.addEventListener("install", () => self.skipWaiting());
