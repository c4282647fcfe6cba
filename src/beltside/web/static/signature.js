// Signing with a finger: strokes as whole numbers on a ground of its own size, drawn as they come.

const box = document.getElementById("sign");
const ground = document.getElementById("ground");
const field = document.getElementById("strokes");
const MOST_POINTS = 4500;
const NEAR = 4; // Points closer than this say nothing new.
let strokes = [];
let drawing = null;

function read() {
  try {
    const kept = JSON.parse(field.value || "[]");
    return Array.isArray(kept) ? kept : [];
  } catch {
    return [];
  }
}

function draw() {
  const pen = ground.getContext("2d");
  pen.clearRect(0, 0, ground.width, ground.height);
  pen.strokeStyle = getComputedStyle(ground).color;
  pen.lineWidth = 7;
  pen.lineCap = "round";
  pen.lineJoin = "round";
  for (const [first, ...rest] of strokes) {
    if (!first) continue;
    pen.beginPath();
    pen.moveTo(...first);
    for (const point of rest) pen.lineTo(...point);
    if (!rest.length) pen.lineTo(first[0] + 1, first[1]);
    pen.stroke();
  }
}

function at(event) {
  const frame = ground.getBoundingClientRect();
  const x = ((event.clientX - frame.left) / frame.width) * ground.width;
  const y = ((event.clientY - frame.top) / frame.height) * ground.height;
  return [
    Math.round(Math.min(Math.max(x, 0), ground.width)),
    Math.round(Math.min(Math.max(y, 0), ground.height)),
  ];
}

function keep() {
  field.value = strokes.length ? JSON.stringify(strokes) : "";
}

if (ground) {
  box.hidden = false;
  strokes = read();
  draw();
  ground.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    ground.setPointerCapture(event.pointerId);
    drawing = [at(event)];
    strokes.push(drawing);
    draw();
  });
  ground.addEventListener("pointermove", (event) => {
    if (!drawing) return;
    const count = strokes.reduce((sum, one) => sum + one.length, 0);
    for (const one of event.getCoalescedEvents?.() ?? [event]) {
      const point = at(one);
      const last = drawing[drawing.length - 1];
      if (count < MOST_POINTS && Math.hypot(point[0] - last[0], point[1] - last[1]) >= NEAR) {
        drawing.push(point);
      }
    }
    draw();
  });
  for (const end of ["pointerup", "pointercancel"]) {
    ground.addEventListener(end, () => {
      drawing = null;
      keep();
    });
  }
  document.getElementById("wipe").addEventListener("click", () => {
    strokes = [];
    keep();
    draw();
  });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);
}
