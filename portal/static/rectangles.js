// Lets rectangles be drawn over a picture. Each is four number fields in per cent, which stay in charge: typing in them
// moves the rectangle, and only they are sent.
"use strict";

const SMALLEST = 0.5; // per cent: a tap draws nothing
const FIELDS = ["left", "top", "width", "height"];

const sheet = document.querySelector("[data-drawn-on]");
const rows = [...document.querySelectorAll("[data-rectangle]")].map((row) => ({
  inputs: [...row.querySelectorAll("input")], // in the order of FIELDS
  clear: row.querySelector("[data-clear]"),
  box: document.createElement("span"),
}));

function show(row) {
  const sides = row.inputs.map((input) => input.value);
  const whole = sides.every((side) => side !== "");
  FIELDS.forEach((field, place) => { row.box.style[field] = `${sides[place]}%`; });
  row.box.hidden = !whole;
  row.clear.hidden = sides.every((side) => side === "");
}

function fill(row, sides) {
  row.inputs.forEach((input, place) => { input.value = sides ? sides[place].toFixed(1) : ""; });
  show(row);
}

function at(event) {
  const edge = sheet.getBoundingClientRect();
  const part = (value, size) => Math.min(Math.max((value / size) * 100, 0), 100);
  return [part(event.clientX - edge.left, edge.width), part(event.clientY - edge.top, edge.height)];
}

for (const row of rows) {
  row.box.className = "rectangle";
  sheet.append(row.box);
  for (const input of row.inputs) input.addEventListener("input", () => show(row));
  row.clear.addEventListener("click", () => {
    fill(row, null);
    row.inputs[0].focus();
  });
  show(row);
}

let drawing = null; // the row that is drawn, and where that began

sheet.addEventListener("pointerdown", (event) => {
  if (!event.isPrimary || event.button) return;
  const row = rows.find((each) => each.inputs.every((input) => input.value === ""));
  if (!row) return;
  event.preventDefault();
  sheet.setPointerCapture(event.pointerId);
  drawing = { row, from: at(event) };
});
sheet.addEventListener("pointermove", (event) => {
  if (!drawing) return;
  const to = at(event);
  const low = to.map((value, axis) => Math.min(value, drawing.from[axis]));
  const high = to.map((value, axis) => Math.max(value, drawing.from[axis]));
  fill(drawing.row, [...low, high[0] - low[0], high[1] - low[1]]);
});
for (const end of ["pointerup", "pointercancel"]) {
  sheet.addEventListener(end, () => {
    if (!drawing) return;
    const { row } = drawing;
    drawing = null;
    if (row.inputs.slice(2).some((input) => Number(input.value) < SMALLEST)) fill(row, null);
    else row.inputs[0].closest("details")?.setAttribute("open", ""); // whoever drew it sees its numbers
  });
}
