// Lets somebody sign with a finger: lines on a canvas, kept as points of a 1000 by 1000 square in a hidden field.
"use strict";

const SIDE = 1000;
const MOST_POINTS = 5000;

for (const box of document.querySelectorAll("[data-signature]")) {
  const field = box.querySelector("input[type=hidden]");
  const canvas = box.querySelector("canvas");
  const clear = box.querySelector("button");
  const pen = canvas.getContext("2d");
  let strokes = [];
  let points = 0;

  const draw = () => {
    pen.clearRect(0, 0, canvas.width, canvas.height);
    pen.lineWidth = 2;
    pen.lineCap = pen.lineJoin = "round";
    pen.strokeStyle = getComputedStyle(canvas).color;
    for (const stroke of strokes) {
      pen.beginPath();
      for (const [x, y] of stroke) pen.lineTo((x / SIDE) * canvas.width, (y / SIDE) * canvas.height);
      pen.stroke();
    }
  };
  const keep = () => { field.value = strokes.length ? JSON.stringify(strokes) : ""; };
  const at = (event) => {
    const edge = canvas.getBoundingClientRect();
    const part = (value, size) => Math.round(Math.min(Math.max(value / size, 0), 1) * SIDE);
    return [part(event.clientX - edge.left, edge.width), part(event.clientY - edge.top, edge.height)];
  };
  const add = (event) => {
    if (points >= MOST_POINTS) return;
    points += 1;
    strokes[strokes.length - 1].push(at(event));
    draw();
  };

  canvas.addEventListener("pointerdown", (event) => {
    if (strokes.length >= 200) return;
    event.preventDefault();
    canvas.setPointerCapture(event.pointerId);
    strokes.push([]);
    add(event);
  });
  canvas.addEventListener("pointermove", (event) => { if (canvas.hasPointerCapture(event.pointerId)) add(event); });
  canvas.addEventListener("pointerup", keep);
  canvas.addEventListener("pointercancel", keep);
  clear.addEventListener("click", () => { strokes = []; points = 0; keep(); draw(); });

  try {
    strokes = field.value ? JSON.parse(field.value) : [];
  } catch {
    strokes = [];
  }
  points = strokes.flat().length;
  box.hidden = false;
  draw();
}
