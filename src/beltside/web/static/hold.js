// The hold test live: the clock runs, the gauge is read in taps, each reading is kept in the browser
// until the server has it, and the verdict moves with it.

import { outbox, sendForm } from "./outbox.js";

const form = document.getElementById("gauge");
const words = JSON.parse(document.getElementById("hold-words").textContent);
const verdict = document.getElementById("verdict");
const input = form.elements.pressure;
const clock = form.querySelector(".clock");
const running = form.querySelector(".running");
const readNow = form.querySelector(".now");
const step = Number(form.dataset.step);
const digits = Number(form.dataset.digits);
const most = Number(form.dataset.most) || Infinity;
const EVERY_MS = 30000;
const OVER_MS = 600000;
const TOO_SOON_MS = 1000;

const since = (seconds) => (Number(seconds) < 0 ? 0 : Date.now() - 1000 * Number(seconds));
let zero = since(form.dataset.elapsed);
let last = since(form.dataset.last);

const say = (text) => (form.querySelector(".said").textContent = text);
const mark = document.documentElement.lang === "en" ? "." : ",";
const figure = () => Number(input.value.replace(",", "."));
const clockText = (ms) => {
  const seconds = Math.max(0, Math.round(ms / 1000));
  return `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
};

function looked() {
  form.querySelector(".over-mark").hidden = !(figure() > most + step / 2);
}

function move(by) {
  const now = figure();
  if (Number.isNaN(now)) return;
  input.value = Math.max(0, (Math.round(now / step) + by) * step).toFixed(digits).replace(".", mark);
  looked();
}

function tick() {
  running.hidden = !zero;
  if (!zero) return;
  const quiet = Date.now() - last;
  clock.textContent = clockText(Date.now() - zero);
  readNow.textContent = quiet >= EVERY_MS && quiet < OVER_MS ? words.readNow : "";
}

function show(answer) {
  verdict.innerHTML = answer.said;
  document.querySelector("form.end").hidden = !answer.readings;
  if (!answer.readings) zero = 0;
  else if (!zero) zero = since(answer.elapsed_s);
  form.querySelector(".keep-it").textContent = answer.readings ? words.keep : words.first;
  say(words.spoken.replace("{verdict}", answer.spoken));
}

const out = outbox({
  address: form.action,
  token: () => form.elements._token.value,
  list: document.getElementById("waiting"),
  words,
  say,
  answered: show,
});

form.addEventListener("submit", (event) => {
  event.preventDefault();
  const now = Date.now();
  if (now - last < TOO_SOON_MS) return;
  last = now;
  if (!zero) zero = now;
  const fields = { read_at: new Date(now).toISOString() };
  for (const name of ["pressure", "engine_c", "air_c"]) fields[name] = form.elements[name].value;
  form.elements.engine_c.value = "";
  form.elements.air_c.value = "";
  navigator.vibrate?.(20);
  tick();
  out.put(fields, `${clockText(now - zero)}  ${fields.pressure}`);
});

verdict.addEventListener("submit", async (event) => {
  event.preventDefault();
  try {
    show(await sendForm(event.target));
    say("");
  } catch {
    say(words.waits);
  }
});

for (const [name, by] of [["less", -1], ["plus", 1]]) {
  const button = form.querySelector(`.${name}`);
  button.hidden = false;
  button.onclick = () => move(by);
}
input.addEventListener("input", looked);
setInterval(tick, 250);

// The screen stays on while one hand is at the pump, where the browser allows it.
const awake = () => navigator.wakeLock?.request("screen").catch(() => {});
form.addEventListener("click", awake, { once: true });

// Readings that waited over a reload: the clock goes on from the first of them.
out.mine().then((left) => {
  if (left.length && !zero) zero = Date.parse(left[0].fields.read_at);
  tick();
  if (left.length) out.sendAll();
});
looked();
