// A note that is written without a line waits on this device; with one, its form goes as it always did.

import { reachable, take } from "./waiting.js";

const form = document.querySelector("form[data-notes]");
let asking = false;
let goes = false;

form.addEventListener("submit", async (event) => {
  if (goes || !form.elements.text.value.trim()) return;
  event.preventDefault();
  if (asking) return;
  asking = true;
  if (await reachable()) {
    goes = true;
    event.submitter.click();
  } else {
    const fields = {
      text: form.elements.text.value,
      audience: event.submitter?.value ?? "bench",
      confirmed: form.elements.confirmed?.value ?? "", // there only once something was asked
    };
    form.elements.text.value = "";
    await take({ kind: "note", number: form.dataset.number, name: "", fields });
  }
  asking = false;
});
