// The phone as a camera. It shows the ticket that is open at the desk, and each photo goes to the one that was shown
// when the shutter was pressed, whatever the desk has opened since.

import { smaller } from "./scaling.js";
import { take } from "./waiting.js";

const EVERY_MS = 2_000;
const SETTLED_MS = 5_000; // after the phone's own camera is left, browsers may still be handing its photo over
const place = document.querySelector("[data-camera]");
const form = place.querySelector("form");
const shutter = form.elements.photo;
const find = (name) => place.querySelector(`[data-${name}]`);

let shown = find("number").textContent;
let aimed = null; // what was shown when the phone's camera was opened; null where a photo comes without it
let aiming = false; // it is open: what is shown stays
let taken = 0;

async function look() {
  if (document.hidden || aiming) return;
  let found = null;
  try {
    const answer = await fetch(place.dataset.look, { cache: "no-store", redirect: "error" });
    if (answer.ok) found = await answer.json();
  } catch {
    // no line, or nobody is logged in any more: what is shown stays, and is said to be so
  }
  if (aiming) return; // the shutter was quicker than the answer
  find("lost").hidden = Boolean(found);
  if (found) show(found);
}

function show({ number, device }) {
  shown = number;
  find("number").textContent = number;
  find("device").textContent = device;
  find("none").hidden = Boolean(number);
  find("some").hidden = form.hidden = !number;
}

shutter.addEventListener("click", () => {
  aimed = shown;
  aiming = true;
});
shutter.addEventListener("cancel", () => {
  aimed = null;
  aiming = false;
});
addEventListener("focus", () => { setTimeout(() => { aiming = false; }, SETTLED_MS); }); // where none is told of a cancel

shutter.addEventListener("change", async () => {
  const number = aimed ?? shown;
  const files = [...shutter.files];
  const fields = { moment: form.elements.moment.value, caption: "", audience: form.elements.audience.value };
  shutter.value = "";
  aimed = null;
  aiming = false;
  taken += files.length;
  say(place.dataset.taken.replace("{count}", taken));
  for (const file of files) await take({ kind: "photo", number, name: file.name, fields }, await smaller(file));
  await look();
  if (shown !== number) say(place.dataset.moved.replace("{number}", number));
});

function say(text) {
  find("said").textContent = text;
}

find("plain").hidden = true; // the shutter sends
form.addEventListener("submit", (event) => event.preventDefault());
find("shutter").className = "shutter";
setInterval(look, EVERY_MS);
document.addEventListener("visibilitychange", look);
look();
