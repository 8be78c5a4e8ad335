// Shows the notices of a shop, and opens the page that one is about. It answers no requests and keeps nothing.
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

self.addEventListener("push", show);
self.addEventListener("notificationclick", clicked);
self.addEventListener("install", () => self.skipWaiting());
