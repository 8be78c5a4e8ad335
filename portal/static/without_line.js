// The page that is shown where there is no line: takes photos and a note for the repair whose page was asked for.

import { smaller } from "./scaling.js";
import { take, waitsFor } from "./waiting.js";

const form = document.querySelector("form[data-repair]");
const { number, photo, moment, text } = form.elements;
let touched = false; // since something was taken last
let taken = ""; // the repair that it was for

// A repair's number ends with a digit that goes with the others, by the shop's table of ten by ten (Damm's scheme).
function isRepair(digits) {
  return /^\d{3,13}$/.test(digits) && [...digits].reduce((row, digit) => form.dataset.check[10 * row + Number(digit)], 0) === "0";
}

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const digits = number.value.replace(/\D/g, "");
  number.setCustomValidity(isRepair(digits) ? "" : form.dataset.wrong.replace("{number}", number.value));
  if (!form.reportValidity()) return;
  const files = [...photo.files], note = text.value;
  const audience = event.submitter?.value ?? "bench";
  const shows = moment.value;
  photo.value = text.value = "";
  touched = false;
  taken = `${digits.slice(0, -1)}-${digits.slice(-1)}`;
  for (const file of files) {
    const fields = { moment: shows, caption: "", audience };
    await take({ kind: "photo", number: taken, name: file.name, fields }, await smaller(file));
  }
  if (note.trim()) await take({ kind: "note", number: taken, name: "", fields: { text: note, audience, confirmed: "" } });
});
number.addEventListener("input", () => number.setCustomValidity(""));

document.addEventListener("input", () => { touched = true; });
document.addEventListener("waiting:sent", () => {
  if (!touched && !waitsFor(taken)) location.reload(); // there is a line again, and with it the page that was asked for
});

number.value = location.pathname.match(/\/bench\/(\d[\d-]*)/)?.[1] ?? "";
form.hidden = false;
