// Keeps photos and notes on this device until they are sent, sealed (AES-GCM). Whoever is logged in has a key from the
// server, which is kept nowhere here. Without a line there is none, and what is taken goes into the box of whoever was
// logged in last: its public half lies here, and closes; its private half is sealed with that person's key, and opens.

const ITEMS = "benchwindow-waiting";
const BOXES = "benchwindow-box";
const STORE = "items"; // the one in each of the two databases
const CURVE = { name: "ECDH", namedCurve: "P-256" };
const NONCE_BYTES = 12; // NIST SP 800-38D: 96 random bits
const LAST = "last"; // where it stands whose box is the one on this device

const opened = new Map();

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

// What opens what is kept for somebody: their own key, given as the server gives it, and the private half of their box
// on this device. A box that this key does not open is of logins that were ended, and makes room for another.
export async function keysOf(hexadecimal, owner) {
  const bytes = Uint8Array.from(hexadecimal.match(/../g), (pair) => Number.parseInt(pair, 16));
  const own = await crypto.subtle.importKey("raw", bytes, "AES-GCM", false, ["encrypt", "decrypt"]);
  return { own, private: await openedBox(own, owner) };
}

async function openedBox(own, owner) {
  await inStore(BOXES, "readwrite", (store) => store.put({ id: LAST, owner }));
  const box = await boxHere();
  try {
    if (box) return await privateHalf(await open(own, box.private));
  } catch {
    // of logins that were ended
  }
  const { publicKey, privateKey } = await crypto.subtle.generateKey(CURVE, true, ["deriveBits"]);
  const bytes = await crypto.subtle.exportKey("pkcs8", privateKey);
  const made = { id: owner, public: await crypto.subtle.exportKey("raw", publicKey), private: await seal(own, bytes) };
  await inStore(BOXES, "readwrite", (store) => store.put(made));
  return privateHalf(bytes);
}

// The box of whoever was logged in last: {id, public}, whose it is and what closes it. Nothing where that was cleared.
export async function boxHere() {
  const last = await inStore(BOXES, "readonly", (store) => store.get(LAST));
  return last && inStore(BOXES, "readonly", (store) => store.get(last.owner));
}

// Keeps an item and tells its number, which grows. `about` is plain data; `file` a Blob or null.
export async function keep(keys, owner, about, file) {
  return add({ owner }, keys.own, about, file);
}

// The same without a line.
export async function keepInBox(box, about, file) {
  const { publicKey, privateKey } = await crypto.subtle.generateKey(CURVE, true, ["deriveBits"]);
  const from = await crypto.subtle.exportKey("raw", publicKey);
  return add({ owner: box.id, from }, await agreed(privateKey, box.public, from), about, file);
}

async function add(row, key, about, file) {
  const sealed = { about: await sealText(key, about), file: file && (await seal(key, await file.arrayBuffer())) };
  return inStore(ITEMS, "readwrite", (store) => store.add({ ...row, ...sealed }));
}

export async function change(keys, id, about) {
  const row = await inStore(ITEMS, "readonly", (store) => store.get(id));
  if (!row) return;
  const sealed = await sealText(await keyOf(keys, row), about);
  await inStore(ITEMS, "readwrite", (store) => store.put({ ...row, about: sealed }));
}

// What waits: `mine` as [{id, about}] in order, how many are somebody else's, and which of mine no key opens any more.
export async function list(keys, owner) {
  const mine = [], lost = [];
  let others = 0;
  for (const row of await inStore(ITEMS, "readonly", (store) => store.getAll())) {
    if (row.owner !== owner) {
      others += 1;
      continue;
    }
    try {
      const about = await open(await keyOf(keys, row), row.about);
      mine.push({ id: row.id, about: JSON.parse(new TextDecoder().decode(about)) });
    } catch {
      lost.push(row.id);
    }
  }
  return { mine, others, lost };
}

// The file of an item; null where it is not there any more.
export async function fileOf(keys, id) {
  const row = await inStore(ITEMS, "readonly", (store) => store.get(id));
  return row?.file ? new Blob([await open(await keyOf(keys, row), row.file)]) : null;
}

export const count = () => inStore(ITEMS, "readonly", (store) => store.count());
export const remove = (id) => inStore(ITEMS, "readwrite", (store) => store.delete(id));

export async function clear() {
  await inStore(ITEMS, "readwrite", (store) => store.clear());
  await inStore(BOXES, "readwrite", (store) => store.clear());
}

const keyOf = (keys, row) => (row.from ? agreed(keys.private, row.from, row.from) : keys.own);
const privateHalf = (bytes) => crypto.subtle.importKey("pkcs8", bytes, CURVE, false, ["deriveBits"]);

// The key of one item in a box: P-256's shared secret (NIST SP 800-56A) through HKDF with SHA-256 (RFC 5869).
async function agreed(ours, theirs, salt) {
  const half = await crypto.subtle.importKey("raw", theirs, CURVE, false, []);
  const secret = await crypto.subtle.deriveBits({ name: "ECDH", public: half }, ours, 256);
  const shared = await crypto.subtle.importKey("raw", secret, "HKDF", false, ["deriveKey"]);
  const how = { name: "HKDF", hash: "SHA-256", salt, info: new TextEncoder().encode(BOXES) };
  return crypto.subtle.deriveKey(how, shared, { name: "AES-GCM", length: 256 }, false, ["encrypt", "decrypt"]);
}

const sealText = (key, value) => seal(key, new TextEncoder().encode(JSON.stringify(value)));

async function seal(key, bytes) {
  const nonce = crypto.getRandomValues(new Uint8Array(NONCE_BYTES));
  return { nonce, sealed: await crypto.subtle.encrypt({ name: "AES-GCM", iv: nonce }, key, bytes) };
}

function open(key, { nonce, sealed }) {
  return crypto.subtle.decrypt({ name: "AES-GCM", iv: nonce }, key, sealed);
}

async function inStore(name, mode, ask) {
  const transaction = await begun(name, mode);
  const request = ask(transaction.objectStore(STORE));
  return new Promise((resolve, reject) => {
    transaction.oncomplete = () => resolve(request.result);
    transaction.onabort = () => reject(transaction.error); // a full disk too
  });
}

// A database that could not be opened, or was closed by the browser while the page slept (as WebKit does), is opened anew.
async function begun(name, mode, again = true) {
  if (!opened.has(name)) opened.set(name, database(name));
  try {
    return (await opened.get(name)).transaction(STORE, mode);
  } catch (fault) {
    opened.delete(name);
    if (!again) throw fault;
    return begun(name, mode, false);
  }
}

function database(name) {
  return new Promise((resolve, reject) => {
    const request = indexedDB.open(name, 1);
    request.onupgradeneeded = () => request.result.createObjectStore(STORE, { keyPath: "id", autoIncrement: true });
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}
