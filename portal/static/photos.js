// The form for photos: each is scaled down here and then sent by itself. Pictures may be pasted and dropped too.

import { take, waitsFor } from "./waiting.js";

const LONG_EDGE = 2560; // pixels; the shop keeps less
const QUALITY = 0.9;
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

// The picture with a long edge of at most LONG_EDGE; itself where it is small, or where this browser cannot read it.
async function smaller(file) {
  let picture;
  try {
    picture = await createImageBitmap(file);
  } catch {
    return file;
  }
  const scale = LONG_EDGE / Math.max(picture.width, picture.height);
  if (scale >= 1) {
    picture.close();
    return file;
  }
  const canvas = document.createElement("canvas");
  canvas.width = Math.round(picture.width * scale);
  canvas.height = Math.round(picture.height * scale);
  const pen = canvas.getContext("2d");
  pen.fillStyle = "#fff"; // under what is see-through, for JPEG knows no such thing
  pen.fillRect(0, 0, canvas.width, canvas.height);
  pen.imageSmoothingQuality = "high";
  pen.drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  const scaled = await new Promise((resolve) => { canvas.toBlob(resolve, "image/jpeg", QUALITY); });
  return scaled && scaled.size < file.size ? scaled : file;
}

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
