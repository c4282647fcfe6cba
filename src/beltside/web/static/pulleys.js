// Marking pulleys on a photo: a tap on a numbered shape goes to its row; taps make rims of their own.

const form = document.getElementById("pulleys-form");
const photo = form.querySelector(".photo");
const said = form.querySelector(".said");
const rims = document.getElementById("rims");
const template = document.getElementById("rim-template");
const buttons = Object.fromEntries(
  ["new-rim", "new-known", "done", "undo"].map((name) => [name, form.querySelector(`.${name}`)]),
);
const NEAR_CSS_PX = 30;
// What is tapped now: the field its points go to, and the marks drawn for it.
let now = null;

const scale = () => 1 / photo.getScreenCTM().a;

function made(kind, attributes) {
  const shape = document.createElementNS("http://www.w3.org/2000/svg", kind);
  for (const [name, value] of Object.entries(attributes)) shape.setAttribute(name, value);
  return shape;
}

function dot(x, y) {
  const group = made("g", {});
  const r = 6 * scale();
  group.append(
    made("circle", { class: "tap-under", cx: x, cy: y, r }),
    made("circle", { class: "tap", cx: x, cy: y, r }),
  );
  photo.append(group);
  return group;
}

function numbered(at, points) {
  const x = points.reduce((sum, point) => sum + point[0], 0) / points.length;
  const y = points.reduce((sum, point) => sum + point[1], 0) / points.length;
  const group = made("g", { class: "rim-mark", "data-at": at });
  const text = made("text", { x, y });
  text.textContent = Number(at) + 1;
  group.append(text);
  photo.append(group);
}

const pointsOf = (words) => words.split(" ").filter(Boolean).map((pair) => pair.split(",").map(Number));

function shown() {
  photo.classList.toggle("tapping", now !== null);
  buttons["new-rim"].hidden = buttons["new-known"].hidden = now !== null;
  buttons.done.hidden = buttons.undo.hidden = now === null;
  if (now) said.textContent = said.dataset[now.kind].replace("{number}", now.dots.length);
}

function begin(kind, field) {
  now = { kind, field, dots: [] };
  shown();
  photo.scrollIntoView({ block: "nearest" });
}

function named() {
  for (const mark of photo.querySelectorAll(".rim-mark")) {
    const part = form.elements[`${mark.dataset.at}.part`];
    mark.classList.toggle("named", Boolean(part && part.value));
  }
}

buttons["new-rim"].onclick = () => {
  const at = rims.children.length;
  const row = template.innerHTML.replaceAll("N.", `${at}.`).replaceAll(">N<", `>${at + 1}<`);
  rims.insertAdjacentHTML("beforeend", row.replaceAll('data-at="N"', `data-at="${at}"`));
  begin("taps", form.elements[`${at}.taps`]);
};
buttons["new-known"].onclick = () => {
  form.elements.known_taps.value = "";
  begin("known", form.elements.known_taps);
};
buttons.undo.onclick = () => {
  now.dots.pop()?.remove();
  now.field.value = now.field.value.split(" ").slice(0, -1).join(" ");
  shown();
};
buttons.done.onclick = () => {
  const { kind, field, dots } = now;
  now = null;
  said.textContent = "";
  shown();
  const row = field.closest(".rim-row");
  if (kind === "known") {
    const size = form.elements.known_mm;
    size.closest("details").open = true;
    size.focus();
  } else if (dots.length === 0) {
    row.remove();
  } else {
    numbered(row.dataset.at, pointsOf(field.value));
    row.querySelector("select").focus();
  }
};

photo.addEventListener("click", (event) => {
  const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(photo.getScreenCTM().inverse());
  const there = `${point.x.toFixed(1)},${point.y.toFixed(1)}`;
  if (now) {
    now.dots.push(dot(point.x, point.y));
    now.field.value = `${now.field.value} ${there}`.trim();
    shown();
    return;
  }
  // No rim is being tapped: go to the row of the shape whose number is nearest.
  let best = null;
  for (const mark of photo.querySelectorAll(".rim-mark")) {
    const box = mark.getBoundingClientRect();
    const away = Math.hypot(event.clientX - box.x - box.width / 2, event.clientY - box.y - box.height / 2);
    if (away < Math.max(NEAR_CSS_PX, box.width / 2) && (!best || away < best.away)) best = { mark, away };
  }
  if (best) form.elements[`${best.mark.dataset.at}.part`].focus();
});
form.addEventListener("change", named);
form.addEventListener("submit", () => {
  form.elements.scale.value = scale().toFixed(2);
});

// Taps that came back with the page.
for (const row of rims.children) {
  const points = pointsOf(form.elements[`${row.dataset.at}.taps`].value);
  for (const [x, y] of points) dot(x, y);
  if (points.length) numbered(row.dataset.at, points);
}
for (const [x, y] of pointsOf(form.elements.known_taps.value)) dot(x, y);
form.querySelector(".live").hidden = false;
named();
