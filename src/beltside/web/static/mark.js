// Marking photos by tap: into holes, on the known thing's edge, on the two ends of a known length.

const form = document.getElementById("match");
const words = JSON.parse(form.dataset.words);
const SVG = "http://www.w3.org/2000/svg";
const NEAR_PX = 26;

for (const box of form.querySelectorAll(".marking")) {
  const name = box.dataset.name;
  const photo = box.querySelector(".photo");
  const list = box.querySelector(".hole-list");
  const taps = box.querySelector(".taps");
  const undo = box.querySelector(".undo");
  const said = box.querySelector(".said");
  const done = [];

  const scale = () => photo.viewBox.baseVal.width / photo.getBoundingClientRect().width;
  const mode = () => box.querySelector(`[name="${name}.mode"]:checked`).value;
  const boxes = () => [...list.querySelectorAll("input")];

  function place(event) {
    const at = new DOMPoint(event.clientX, event.clientY);
    return at.matrixTransform(photo.getScreenCTM().inverse());
  }
  function circle(kind, x, y, radius) {
    const one = document.createElementNS(SVG, "circle");
    for (const [key, value] of Object.entries({ class: kind, cx: x, cy: y, r: radius })) {
      one.setAttribute(key, value);
    }
    return one;
  }
  function shown() {
    for (const mark of photo.querySelectorAll(".hole-mark")) {
      const ticked = boxes().some((one) => one.value === mark.dataset.value && one.checked);
      mark.classList.toggle("counts", ticked);
    }
    const known = box.querySelector(`[name="${name}.known"]:checked`);
    for (const disc of photo.querySelectorAll(".disc")) {
      disc.classList.toggle("known", Boolean(known) && known.value === disc.dataset.value);
    }
    undo.hidden = !done.length;
  }
  function near(x, y) {
    let best = null;
    let least = NEAR_PX * scale();
    for (const one of boxes()) {
      const [a, b] = one.value.split(",").map(Number);
      const away = Math.hypot(a - x, b - y);
      if (away < least) [best, least] = [one, away];
    }
    return best;
  }
  function addHole(x, y) {
    const number = boxes().length + 1;
    const value = `${x.toFixed(1)},${y.toFixed(1)}`;
    const label = document.createElement("label");
    const tick = Object.assign(document.createElement("input"), {
      type: "checkbox", name: `${name}.hole`, value, checked: true,
    });
    const text = document.createElement("span");
    text.textContent = number;
    label.append(tick, text);
    list.append(label);
    const mark = document.createElementNS(SVG, "g");
    mark.setAttribute("class", "hole-mark");
    mark.dataset.value = value;
    const told = document.createElementNS(SVG, "text");
    told.setAttribute("x", x);
    told.setAttribute("y", y + 5 * scale());
    told.textContent = number;
    mark.append(circle("", x, y, 9 * scale()), told);
    photo.append(mark);
    done.push(() => {
      label.remove();
      mark.remove();
    });
    said.textContent = words.tapped.replace("{number}", number);
  }
  function addTap(kind, x, y) {
    const there = taps.querySelectorAll(`[name="${name}.${kind}"]`);
    if (kind === "end" && there.length >= 2) return;
    const field = Object.assign(document.createElement("input"), {
      type: "hidden", name: `${name}.${kind}`, value: `${x.toFixed(1)},${y.toFixed(1)}`,
    });
    taps.append(field);
    const dot = circle("tap", x, y, 5 * scale());
    photo.append(dot);
    if (kind === "edge") {
      const none = box.querySelector(`[name="${name}.known"][value=""]`);
      if (none) none.checked = true;
    }
    done.push(() => {
      field.remove();
      dot.remove();
    });
    said.textContent = words[kind].replace("{number}", there.length + 1);
  }

  photo.addEventListener("click", (event) => {
    const { x, y } = place(event);
    if (mode() === "hole") {
      const old = near(x, y);
      if (old) old.checked = !old.checked;
      else addHole(x, y);
    } else {
      addTap(mode(), x, y);
    }
    shown();
  });
  box.addEventListener("change", shown);
  undo.onclick = () => {
    done.pop()?.();
    shown();
  };
  for (const field of taps.querySelectorAll("input")) {
    const [x, y] = field.value.split(",").map(Number);
    photo.append(circle("tap", x, y, 5 * scale()));
  }
  box.classList.add("live");
  box.querySelector(".modes").hidden = false;
  form.addEventListener("submit", () => {
    // How many of the photo's pixels a tap on this screen covers.
    form.elements[`${name}.scale`].value = scale().toFixed(2);
  });
  shown();
}

// Only one known size counts: a length needs its ends, a round thing its edge.
const length = form.elements.length_mm;
function sized() {
  const byLength = Boolean(length.value.trim());
  for (const one of form.querySelectorAll(".if-length")) one.hidden = !byLength;
  for (const one of form.querySelectorAll(".if-disc")) one.hidden = byLength;
}
length.addEventListener("input", sized);
sized();
