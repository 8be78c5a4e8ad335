// A keyboard-wedge scanner types fast and ends with Enter. From anywhere on a bench page, what it typed is looked up.
(() => {
  const find = document.currentScript.dataset.find;
  const FAST_MS = 50, FEWEST = 5;
  let typed = "", last = 0;

  document.addEventListener("keydown", (event) => {
    if (event.target.matches("input, textarea, select")) return;
    if (event.timeStamp - last > FAST_MS) typed = "";
    last = event.timeStamp;
    if (event.key === "Enter" && typed.length >= FEWEST) {
      event.preventDefault();
      location.assign(`${find}?q=${encodeURIComponent(typed)}`);
    } else if (event.key.length === 1) {
      typed += event.key;
    }
  });
})();
