// Sends photos and notes one by one and in order, at once or when there is a line, and shows what is not sent yet.
// Each has a key of its own, so one that is sent again after a lost answer has no second effect.

import * as shell from "./shell.js";
import * as store from "./waiting_store.js";

const FIRST_PAUSE_MS = 1_000;
const MOST_PAUSE_MS = 60_000;
const SILENCE_MS = 120_000; // a photo may wait for its turn at the server
const TURN_MS = 30_000;
const place = document.querySelector("[data-waiting]");
const words = place.dataset;
const between = globalThis.BroadcastChannel ? new BroadcastChannel("benchwindow-waiting") : null;

// Browsers of before 2022 know no such signal, and wait as long as it takes.
const within = (milliseconds) => AbortSignal.timeout?.(milliseconds);

class NoLine extends Error {}
class LoggedOut extends Error {}

let items = []; // {id, about, file, state, reasons, part}, as they are sent; id only where it is kept
let login = null; // {owner, keys, token} while somebody is known to be logged in
let box = null; // of `whose`: closes what is kept while they are not known to be logged in
let whose = null; // the owner that this page is of
let keeps = false; // whether this page can keep anything on the device
let unread = 0; // kept here, and not looked at yet
let others = 0;
let lost = 0;
let trouble = "";
let pause = FIRST_PAUSE_MS;
let timer = 0;
let turn = null;

export const newKey = () =>
  Array.from(crypto.getRandomValues(new Uint8Array(16)), (byte) => byte.toString(16).padStart(2, "0")).join("");

// Takes something to be sent: `about` is {kind: "photo" or "note", number, name, fields}, `file` a Blob or null.
export async function take(about, file = null) {
  const item = { id: null, about: { ...about, key: newKey() }, file, state: "waits", reasons: [], part: 0 };
  items.push(item);
  show();
  await keep(item);
  go();
}

export const waitsFor = (number) => items.filter((item) => item.about.number === number).length;

// Whether the shop's site answers just now, whatever it says.
export async function reachable() {
  try {
    await meet();
    return true;
  } catch (fault) {
    return fault instanceof LoggedOut;
  }
}

async function meet() {
  let answer;
  try {
    answer = await fetch(words.login, { cache: "no-store", redirect: "manual", signal: within(8_000) });
  } catch {
    throw new NoLine();
  }
  if (answer.type === "opaqueredirect" || answer.status === 403) throw new LoggedOut();
  if (!answer.ok || !isJson(answer.headers.get("Content-Type"))) throw new NoLine(); // something on the way answered
  const { owner, key, token, shell: kept } = await answer.json();
  whose ??= owner;
  if (owner !== whose) throw new LoggedOut(); // somebody else, in another page: this one's are not theirs to send
  login = { owner, token, keys: keeps ? await store.keysOf(key, owner) : null };
  box = keeps ? await store.boxHere() : null;
  await Promise.all(items.map(keep));
  shell.keep(kept);
}

const canKeep = () => Boolean(login ? login.keys : box);

async function keep(item) {
  if (!canKeep() || item.id !== null || item.keeping) return;
  item.keeping = true;
  try {
    item.id = login
      ? await store.keep(login.keys, login.owner, item.about, item.file)
      : await store.keepInBox(box, item.about, item.file);
    between?.postMessage("changed");
    show();
  } catch {
    // No room on the device: it stays with the page, which says so before it is left.
  } finally {
    item.keeping = false;
  }
}

// Brings in what other pages of this device, or this one before it was closed, have kept.
async function load() {
  if (!login?.keys) return;
  const found = await store.list(login.keys, login.owner);
  others = found.others;
  lost += found.lost.length;
  await Promise.all(found.lost.map(store.remove));
  const here = new Map(items.map((item) => [item.about.key, item]));
  const kept = found.mine.map(({ id, about }) => Object.assign(here.get(about.key) ?? revived(about), { id }));
  items = [...kept, ...items.filter((item) => item.id === null)];
  unread = 0;
  show();
}

function revived(about) {
  return { id: null, about, file: null, state: about.state ?? "waits", reasons: about.reasons ?? [], part: 0 };
}

export function go() {
  clearTimeout(timer);
  timer = 0;
  turn ??= inTurn(sendAll).finally(() => {
    turn = null;
    if (!timer && upNext()) go(); // it came when the turn was all but over
  });
  return turn;
}

// One page of the device sends at a time, where the browser can arrange that. It is a courtesy: what two pages send has
// one effect all the same, so a page that sleeps with its turn is not waited for.
async function inTurn(work) {
  if (!navigator.locks) return work();
  try {
    return await navigator.locks.request("benchwindow-waiting", { signal: within(TURN_MS) }, work);
  } catch (fault) {
    if (fault.name !== "TimeoutError") throw fault;
    return work();
  }
}

async function sendAll() {
  try {
    await meet();
    trouble = canKeep() ? "" : words.notKept;
    await load();
    for (let next = upNext(); next; next = upNext()) await send(next);
    pause = FIRST_PAUSE_MS;
    words.ready = ""; // all has been sent once, and what comes now can be kept
  } catch (fault) {
    if (fault instanceof LoggedOut) {
      login = null;
      trouble = words.loggedOut;
    } else if (fault instanceof NoLine) {
      trouble = [fault.message || words.noLine, canKeep() ? "" : words.notKept].join(" ");
      navigator.storage?.persist?.(); // asks the browser not to clear away what waits
    } else {
      throw fault;
    }
    timer = setTimeout(go, pause);
    pause = Math.min(2 * pause, MOST_PAUSE_MS);
  } finally {
    show();
  }
}

const upNext = () => items.find((item) => item.state === "waits");

async function send(item, again = false) {
  item.state = "sending";
  item.part = 0;
  show();
  try {
    const file = item.file ?? (item.about.kind === "photo" ? await store.fileOf(login.keys, item.id) : null);
    if (item.about.kind === "photo" && !file) return await forget(item); // another page has sent it, or thrown it away
    const { status, said } = await post(item, file);
    if (said?.done) return await done(item);
    if (status === 429 || status >= 500) throw new NoLine(said?.reasons.join(" "));
    if (said) return await settle(item, said.ask_first ? "asks" : "refused", said.reasons);
    if (status === 413) return await settle(item, "refused", [words.tooLarge]);
    if (status === 404 || status === 405) return await settle(item, "refused", [words.unknown]);
    if (again) throw new LoggedOut(); // neither with the token of before nor with a fresh one
  } finally {
    if (item.state === "sending") item.state = "waits";
  }
  await meet();
  return send(item, true);
}

const isJson = (kind) => Boolean(kind?.startsWith("application/json"));

function post(item, file) {
  const form = new FormData();
  const { kind, number, key, name, fields } = item.about;
  for (const [field, value] of Object.entries({ csrf_token: login.token, deed_key: key, ...fields })) form.append(field, value);
  if (file) form.append("photo", file, name);
  const request = new XMLHttpRequest(); // fetch does not tell how far it has come
  return new Promise((resolve, reject) => {
    let silence = 0;
    const heard = () => {
      clearTimeout(silence);
      silence = setTimeout(() => request.abort(), SILENCE_MS);
    };
    const over = (settled) => () => {
      clearTimeout(silence);
      settled();
    };
    request.upload.onprogress = (event) => {
      heard();
      item.part = event.loaded / event.total;
      showPart(item);
    };
    request.onload = over(() => resolve({ status: request.status, said: read(request) }));
    request.onerror = request.onabort = over(() => reject(new NoLine()));
    request.open("POST", words[kind].replace("NUMBER", encodeURIComponent(number)));
    heard();
    request.send(form);
  });
}

function read(request) {
  return isJson(request.getResponseHeader("Content-Type")) ? JSON.parse(request.responseText) : null;
}

async function done(item) {
  await forget(item);
  document.dispatchEvent(new CustomEvent("waiting:sent", { detail: { number: item.about.number } }));
}

async function settle(item, state, reasons) {
  Object.assign(item, { state, reasons });
  Object.assign(item.about, { state, reasons });
  if (item.id !== null && login?.keys) await store.change(login.keys, item.id, item.about);
}

async function forget(item) {
  items = items.filter((each) => each !== item);
  if (item.id !== null) await store.remove(item.id);
  between?.postMessage("changed");
  show();
}

// What is shown. Lines are kept while their item is, so that a finger on a button stays on it.

const lines = new Map();

function show() {
  const count = items.length || unread;
  place.hidden = !count && !others && !lost;
  const says = [];
  if (count) says.push(`${words.count.replace("{count}", count)}.`, trouble);
  if (others) says.push(words.others.replace("{count}", others));
  if (lost) says.push(words.lost.replace("{count}", lost));
  const text = says.filter(Boolean).join(" ");
  const status = place.querySelector("[role=status]");
  if (status.textContent !== text) status.textContent = text;
  for (const [item, line] of lines) {
    if (items.includes(item)) continue;
    line.remove();
    lines.delete(item);
  }
  for (const item of items) showItem(item);
}

function showItem(item) {
  if (!lines.has(item)) {
    lines.set(item, newLine(item));
    place.querySelector("ol").append(lines.get(item));
  }
  const line = lines.get(item);
  if (item.id !== null) line.dataset.kept = "";
  line.querySelector(".state").textContent = [words[item.state], ...item.reasons].join(" ");
  line.querySelector("progress").hidden = item.state !== "sending";
  line.querySelector("[data-use]").hidden = item.state !== "asks";
  line.querySelector("[data-drop]").hidden = item.state === "sending";
  showPart(item);
}

function showPart(item) {
  const progress = lines.get(item)?.querySelector("progress");
  if (progress) progress.value = item.part;
}

function newLine(item) {
  const line = document.createElement("li");
  const name = item.about.kind === "note" ? `${words.noteName}: ${item.about.fields.text}` : item.about.name;
  const progress = document.createElement("progress");
  progress.max = 1;
  progress.setAttribute("aria-label", name);
  const says = document.createElement("div");
  says.append(part("figures", item.about.number), " ", name, " ", part("state", ""), progress);
  says.append(button("use", () => use(item)), button("drop", () => forget(item)));
  if (item.file) line.append(thumbnail(item.file));
  line.append(says);
  return line;
}

function part(style, text) {
  const span = document.createElement("span");
  span.className = style;
  span.textContent = text;
  return span;
}

function button(name, press) {
  const made = document.createElement("button");
  made.type = "button";
  made.dataset[name] = "";
  made.textContent = words[name];
  made.addEventListener("click", press);
  return made;
}

function thumbnail(file) {
  const picture = document.createElement("img");
  picture.alt = "";
  picture.src = URL.createObjectURL(file);
  picture.addEventListener("load", () => URL.revokeObjectURL(picture.src), { once: true });
  picture.addEventListener("error", () => picture.remove(), { once: true }); // a kind that this browser cannot show
  return picture;
}

async function use(item) {
  item.about.fields.confirmed = "1";
  await settle(item, "waits", []);
  go();
}

// Whoever logs out or locks the device leaves nothing on it, and is asked first.
for (const form of document.querySelectorAll("form[data-ends-login]")) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const waiting = Math.max(items.length, keeps ? await store.count() : 0);
    if (waiting && !confirm(`${words.count.replace("{count}", waiting)}. ${words.leave}`)) return;
    items = [];
    try {
      if (keeps) await store.clear();
      await shell.forget();
      between?.postMessage("changed");
    } finally {
      form.submit();
    }
  });
}

addEventListener("beforeunload", (event) => {
  if (items.some((item) => item.id === null)) event.preventDefault(); // it would be gone with the page
});
addEventListener("online", () => { pause = FIRST_PAUSE_MS; if (items.length) go(); });
document.addEventListener("visibilitychange", () => { if (!document.hidden && items.length) go(); });
between?.addEventListener("message", () => { if (!turn) load(); });

// Pages on which something is taken get the key while there is a line; others only ask when something waits.
async function begin() {
  keeps = await store.works();
  unread = keeps ? await store.count() : 0;
  if (keeps && place.closest("[data-without-line]")) box = await store.boxHere();
  whose = box?.id ?? null;
  show();
  if (unread || document.querySelector("[data-takes]")) go();
}

begin();
