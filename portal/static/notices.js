// Lets this browser show notices: asks it for leave and for an address at its push service, and sends both by the form.
"use strict";

const form = document.querySelector("[data-notices]");
const needs = document.querySelector("[data-notices-needs]");

function say(what) {
  const words = form.querySelector(`[data-when="${what}"]`);
  form.querySelector("[data-notices-says]").textContent = words ? words.textContent : "";
}

async function subscription() {
  const wanted = { userVisibleOnly: true, applicationServerKey: form.dataset.key };
  await navigator.serviceWorker.register(form.dataset.worker);
  const { pushManager } = await navigator.serviceWorker.ready;
  try {
    return await pushManager.subscribe(wanted);
  } catch (fault) {
    const old = await pushManager.getSubscription(); // of a key that the shop no longer has
    if (!old || fault.name !== "InvalidStateError") throw fault;
    await old.unsubscribe();
    return pushManager.subscribe(wanted);
  }
}

async function listen(event) {
  event.preventDefault();
  say("");
  if (await Notification.requestPermission() !== "granted") {
    say("refused");
    return;
  }
  try {
    const { endpoint, keys } = (await subscription()).toJSON();
    form.elements.endpoint.value = endpoint;
    form.elements.key.value = keys.p256dh;
    form.elements.secret.value = keys.auth;
    form.submit();
  } catch {
    say("failed");
  }
}

// Which of the devices listed is this one: then it need not be asked to show notices.
async function recognise() {
  const registration = await navigator.serviceWorker.getRegistration(form.dataset.worker);
  const known = registration && await registration.pushManager.getSubscription();
  if (!known) return;
  const digest = await crypto.subtle.digest("SHA-256", new TextEncoder().encode(known.endpoint));
  const mark = [...new Uint8Array(digest)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  const listed = document.querySelector(`[data-mark="${mark}"]`);
  if (!listed) return;
  listed.querySelector("strong").hidden = false;
  form.hidden = true;
}

if (form && "serviceWorker" in navigator && "PushManager" in window && "Notification" in window) {
  needs.hidden = true;
  form.hidden = false;
  form.addEventListener("submit", listen);
  recognise();
}
