// The form for photos: each is scaled down here and then sent by itself. Pictures may be pasted and dropped too.

import { smaller } from "./scaling.js";
import { take, waitsFor } from "./waiting.js";

const form = document.querySelector("form[data-photos]");
const input = form.elements.photo;
let touched = false; // since the last photo was sent off

form.addEventListener("submit", async (event) => {
  const files = [...input.files];
  if (!files.length) return; // the site says what is missing
  event.preventDefault();
  const { number } = form.dataset;
  const fields = {
    moment: form.elements.moment.value,
    caption: form.elements.caption.value,
    audience: event.submitter?.value ?? "customer",
    confirmed: form.elements.use_anyway.checked ? "1" : "",
  };
  input.value = form.elements.caption.value = "";
  touched = false;
  for (const file of files) await take({ kind: "photo", number, name: file.name, fields }, await smaller(file));
});

function add(files) {
  const pictures = [...files].filter((file) => file.type.startsWith("image/"));
  if (!pictures.length) return false;
  const all = new DataTransfer();
  for (const file of [...input.files, ...pictures]) all.items.add(file);
  input.files = all.files;
  return true;
}

addEventListener("paste", (event) => {
  if (add(event.clipboardData?.files ?? [])) event.preventDefault();
});
addEventListener("dragover", (event) => {
  if (event.dataTransfer.types.includes("Files")) event.preventDefault();
});
addEventListener("drop", (event) => {
  if (!event.dataTransfer.types.includes("Files")) return;
  event.preventDefault(); // else the browser would leave the page for the picture
  add(event.dataTransfer.files);
});

document.addEventListener("input", () => { touched = true; });
document.addEventListener("waiting:sent", () => {
  if (form.dataset.after && !touched && !waitsFor(form.dataset.number)) location.assign(form.dataset.after);
});

for (const hint of document.querySelectorAll("[data-scripted]")) hint.hidden = false;
