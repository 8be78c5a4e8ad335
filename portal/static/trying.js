// Shows a side anew when something happened to the repair, unless somebody is filling in a form there.
"use strict";

const EVERY_MS = 2_000;
const sides = document.querySelector("[data-news]");
const frames = [...sides.querySelectorAll("iframe")];
let known = sides.dataset.known;

function isBusy(frame) {
  const page = frame.contentDocument;
  return !page || page.querySelector("[data-touched], [role=alert]") || page.activeElement?.form;
}

function watch(frame) {
  frame.contentDocument?.addEventListener("input", (event) => {
    if (event.target.form) event.target.form.dataset.touched = "1";
  });
}

async function ask() {
  if (document.visibilityState === "visible") {
    try {
      const answer = await fetch(sides.dataset.news, { cache: "no-store" });
      const now = answer.ok ? await answer.text() : known;
      if (now !== known) {
        for (const frame of frames) if (!isBusy(frame)) frame.contentWindow.location.reload();
      }
      known = now;
    } catch {
      // the demo was stopped; it may come back
    }
  }
  setTimeout(ask, EVERY_MS);
}

for (const frame of frames) {
  frame.addEventListener("load", () => watch(frame));
  watch(frame);
}
ask();
