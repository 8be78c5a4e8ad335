// Keeps the one page that the bench shows where there is no line. It is the same for everybody and holds nobody's data;
// bench_worker.js shows it.

const NAME = "benchwindow-shell-";
let forgotten = false; // this page is about to be left
const here = () => Boolean(navigator.serviceWorker && globalThis.caches); // not without HTTPS, nor in every private window

// Where the worker, the page and its parts are, and of which make they are.
export async function keep({ worker, page, parts, make }) {
  if (!here() || (await caches.match(page, { cacheName: NAME + make }))) return;
  try {
    await navigator.serviceWorker.register(worker);
    const found = await Promise.all([...parts, page].map(fetched));
    if (forgotten) return;
    const cache = await caches.open(NAME + make);
    for (const [address, answer] of found) await cache.put(address, answer); // the page last: with it all is there
    await forgetPages(NAME + make);
  } catch {
    // the line broke, or there is no room: another page tries again
  }
}

// Nothing of it stays on the device.
export async function forget() {
  if (!here()) return;
  forgotten = true;
  const registration = await navigator.serviceWorker.getRegistration();
  await registration?.unregister();
  await forgetPages();
}

async function forgetPages(but = "") {
  const names = (await caches.keys()).filter((name) => name.startsWith(NAME) && name !== but);
  await Promise.all(names.map((name) => caches.delete(name)));
}

async function fetched(address) {
  const answer = await fetch(address, { redirect: "error" }); // who is asked to log in keeps no such page
  if (!answer.ok) throw new Error(address);
  return [address, answer];
}
