// A before and an after that lie side by side are laid over one another, with a slider between them. It is a range
// field, so keys work it; the picture itself can be dragged with a mouse or a finger.
"use strict";

const MIDDLE = 50;

for (const pair of document.querySelectorAll("[data-compare]")) {
  const figures = [...pair.querySelectorAll("figure")];
  const stage = document.createElement("div");
  const line = document.createElement("span");
  const ends = document.createElement("p");
  const slider = document.createElement("input");
  stage.className = "compared";
  line.className = "compared-line";
  const [, after] = figures.map((figure) => {
    const small = figure.querySelector("img");
    const picture = new Image(small.getAttribute("width"), small.getAttribute("height")); // its place, before it comes
    picture.loading = "lazy";
    picture.draggable = false;
    picture.alt = small.alt;
    picture.src = figure.querySelector("a").href;
    stage.append(picture);
    return picture;
  });
  stage.append(line);
  Object.assign(slider, { type: "range", min: 0, max: 100, value: MIDDLE });
  slider.setAttribute("aria-label", pair.dataset.compare);
  ends.className = "compared-ends";
  ends.append(...[pair.dataset.before, pair.dataset.after].map((words) => {
    const end = document.createElement("span");
    end.textContent = words;
    return end;
  }));

  const show = () => {
    after.style.clipPath = `inset(0 0 0 ${slider.value}%)`;
    line.style.left = `${slider.value}%`;
  };
  const follow = (event) => {
    const edge = stage.getBoundingClientRect();
    slider.value = Math.round(((event.clientX - edge.left) / edge.width) * 100);
    show();
  };
  slider.addEventListener("input", show);
  stage.addEventListener("pointerdown", (event) => {
    if (!event.isPrimary || event.button) return;
    stage.setPointerCapture(event.pointerId);
    follow(event);
  });
  stage.addEventListener("pointermove", (event) => { if (stage.hasPointerCapture(event.pointerId)) follow(event); });

  const apart = document.createElement("details");
  const summary = document.createElement("summary");
  summary.textContent = pair.dataset.apart;
  apart.append(summary, ...pair.children);
  pair.append(stage, slider, ends, apart);
  show();
}
