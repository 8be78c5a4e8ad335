// Keeps photos and notes on this device until they are sent, sealed (AES-GCM) with a key that the server gives to
// whoever is logged in. Nothing is kept here without that key, and nothing can be read back without it.

const NAME = "benchwindow-waiting";
const ITEMS = "items";
const NONCE_BYTES = 12; // NIST SP 800-38D: 96 random bits

let opened = null;

// Whether this page can keep anything: not without HTTPS (but on the machine itself), nor where the browser forbids it.
export async function works() {
  if (!globalThis.crypto?.subtle || !globalThis.indexedDB) return false;
  try {
    await count();
    return true;
  } catch {
    return false;
  }
}

export function keyOf(hexadecimal) {
  const bytes = Uint8Array.from(hexadecimal.match(/../g), (pair) => Number.parseInt(pair, 16));
  return crypto.subtle.importKey("raw", bytes, "AES-GCM", false, ["encrypt", "decrypt"]);
}

// Keeps an item and tells its number, which grows. `about` is plain data; `file` a Blob or null.
export async function keep(key, owner, about, file) {
  const row = { owner, about: await sealText(key, about), file: file && (await seal(key, await file.arrayBuffer())) };
  return inStore("readwrite", (store) => store.add(row));
}

export async function change(key, id, about) {
  const sealed = await sealText(key, about);
  const row = await inStore("readonly", (store) => store.get(id));
  if (row) await inStore("readwrite", (store) => store.put({ ...row, about: sealed }));
}

// What waits: `mine` as [{id, about}] in order, how many are somebody else's, and which of mine no key opens any more.
export async function list(key, owner) {
  const mine = [], lost = [];
  let others = 0;
  for (const row of await inStore("readonly", (store) => store.getAll())) {
    if (row.owner !== owner) {
      others += 1;
      continue;
    }
    try {
      mine.push({ id: row.id, about: JSON.parse(new TextDecoder().decode(await open(key, row.about))) });
    } catch {
      lost.push(row.id);
    }
  }
  return { mine, others, lost };
}

// The file of an item; null where it is not there any more.
export async function fileOf(key, id) {
  const row = await inStore("readonly", (store) => store.get(id));
  return row?.file ? new Blob([await open(key, row.file)]) : null;
}

export const count = () => inStore("readonly", (store) => store.count());
export const remove = (id) => inStore("readwrite", (store) => store.delete(id));
export const clear = () => inStore("readwrite", (store) => store.clear());

const sealText = (key, value) => seal(key, new TextEncoder().encode(JSON.stringify(value)));

async function seal(key, bytes) {
  const nonce = crypto.getRandomValues(new Uint8Array(NONCE_BYTES));
  return { nonce, sealed: await crypto.subtle.encrypt({ name: "AES-GCM", iv: nonce }, key, bytes) };
}

function open(key, { nonce, sealed }) {
  return crypto.subtle.decrypt({ name: "AES-GCM", iv: nonce }, key, sealed);
}

async function inStore(mode, ask) {
  const transaction = await begun(mode);
  const request = ask(transaction.objectStore(ITEMS));
  return new Promise((resolve, reject) => {
    transaction.oncomplete = () => resolve(request.result);
    transaction.onabort = () => reject(transaction.error); // a full disk too
  });
}

// A database that could not be opened, or was closed by the browser while the page slept (as WebKit does), is opened anew.
async function begun(mode, again = true) {
  opened ??= database();
  try {
    return (await opened).transaction(ITEMS, mode);
  } catch (fault) {
    opened = null;
    if (!again) throw fault;
    return begun(mode, false);
  }
}

function database() {
  return new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => request.result.createObjectStore(ITEMS, { keyPath: "id", autoIncrement: true });
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}
