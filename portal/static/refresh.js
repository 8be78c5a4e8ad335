// While the page is visible, asks now and then whether anything has changed, and shows it without a jump.
"use strict";

const EVERY_MS = 20_000;
const MOST_MS = 320_000; // after failures the pause doubles up to this
const sheet = document.querySelector("[data-refresh]");
const news = document.querySelector("[data-refresh-news]");
let pause = EVERY_MS;
let timer = 0;
let asking = false;

function isBeingFilledIn() {
  return [...sheet.querySelectorAll("form")].some((form) => form.contains(document.activeElement) || form.dataset.touched);
}

async function ask() {
  if (asking || document.visibilityState !== "visible") return;
  asking = true;
  try {
    const answer = await fetch(sheet.dataset.refresh, {
      headers: { "If-None-Match": `"${sheet.dataset.validator}"` },
      cache: "no-store",
      credentials: "omit",
      redirect: "error",
    });
    if (answer.status === 200) {
      show(await answer.text(), (answer.headers.get("ETag") || "").replace(/^W\/|"/g, "")); // a proxy that compresses makes it weak
    } else if (answer.status === 404 || answer.status === 410) {
      location.reload(); // the link has ended: the page says what to do
      return;
    }
    pause = answer.ok || answer.status === 304 ? EVERY_MS : Math.min(2 * pause, MOST_MS);
  } catch {
    pause = Math.min(2 * pause, MOST_MS); // no network: the page stays as it is
  } finally {
    asking = false;
  }
  wait();
}

function show(text, validator) {
  if (!isBeingFilledIn()) {
    const place = window.scrollY;
    const fresh = new DOMParser().parseFromString(text, "text/html");
    sheet.replaceChildren(...fresh.body.children);
    sheet.dataset.validator = validator;
    window.scrollTo(0, place);
  }
  news.textContent = sheet.dataset.news;
}

function wait() {
  clearTimeout(timer);
  timer = setTimeout(ask, pause);
}

if (sheet) {
  sheet.addEventListener("input", (event) => { event.target.form.dataset.touched = "1"; });
  document.addEventListener("visibilitychange", ask);
  wait();
}
