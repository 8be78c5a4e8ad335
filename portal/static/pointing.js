// While this page is looked at, the phone that follows this desk is pointed at its ticket.
"use strict";

for (const here of document.querySelectorAll("form[data-point]")) {
  const point = () => {
    if (document.visibilityState !== "visible") return;
    const how = { method: "POST", body: new FormData(here), headers: { Accept: "application/json" } };
    fetch(here.dataset.point, how).catch(() => {}); // without a line the phone has none either, or shows what it knew
  };
  point();
  document.addEventListener("visibilitychange", point);
  addEventListener("focus", point); // of two windows side by side, the one that is worked in
}
