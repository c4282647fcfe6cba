// The hold test live: the clock runs, the gauge is read in taps, each reading is kept in the browser
// until the server has it, and the verdict moves with it.

import { keep, newName, send, throwAway, waiting } from "./keep.js";

const form = document.getElementById("gauge");
const words = JSON.parse(document.getElementById("hold-words").textContent);
const verdict = document.getElementById("verdict");
const input = form.elements.pressure;
const clock = form.querySelector(".clock");
const running = form.querySelector(".running");
const readNow = form.querySelector(".now");
const list = document.getElementById("waiting");
const step = Number(form.dataset.step);
const digits = Number(form.dataset.digits);
const most = Number(form.dataset.most) || Infinity;
const EVERY_S = 30;
const TOO_SOON_MS = 1000;

let zero = Number(form.dataset.elapsed) < 0 ? 0 : Date.now() - 1000 * Number(form.dataset.elapsed);
let last = zero;
let sending = false;

const say = (text) => (form.querySelector(".said").textContent = text);
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
  input.value = Math.max(0, Math.round(now / step + by) * step).toFixed(digits);
  looked();
}

function tick() {
  running.hidden = !zero;
  if (!zero) return;
  clock.textContent = clockText(Date.now() - zero);
  readNow.textContent = Date.now() - last >= EVERY_S * 1000 ? words.readNow : "";
}

function show(answer) {
  verdict.innerHTML = answer.said;
  document.querySelector("form.end").hidden = !answer.readings;
  if (!answer.readings) zero = 0;
  else if (!zero) zero = Date.now() - 1000 * answer.elapsed_s;
  form.querySelector(".keep-it").textContent = words.keep;
  say(words.spoken.replace("{verdict}", answer.spoken));
}

async function mine() {
  return (await waiting()).filter((one) => one.address === form.action);
}

function waitsRow(one, told) {
  const row = document.createElement("li");
  row.textContent = `${one.name} `;
  for (const [text, act] of told) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "quiet-button";
    button.textContent = text;
    button.onclick = act;
    row.append(button);
  }
  list.append(row);
}

async function sendAll() {
  if (sending) return;
  sending = true;
  list.replaceChildren();
  try {
    for (const one of await mine()) {
      try {
        show(await send(one, form.elements._token.value));
      } catch (error) {
        say(error.refused ? `${words.refused} ${error.message}` : words.waits);
        const away = async () => {
          await throwAway(one.id);
          sendAll();
        };
        waitsRow(one, [[words.again, sendAll], [words.throwAway, away]]);
        if (!error.refused) break;
      }
    }
  } finally {
    sending = false;
  }
}

async function keepReading(event) {
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
  await keep(newName(), form.action, fields, null, `${clockText(now - zero)}  ${fields.pressure}`);
  while (sending) await new Promise((done) => setTimeout(done, 50));
  await sendAll();
}

verdict.addEventListener("submit", async (event) => {
  event.preventDefault();
  const asked = event.target;
  try {
    const answer = await fetch(asked.action, {
      method: "POST",
      body: new FormData(asked),
      headers: { Accept: "application/json" },
    });
    if (!answer.ok) throw new Error(answer.status);
    show(await answer.json());
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
form.addEventListener("submit", keepReading);
window.addEventListener("online", sendAll);
setInterval(tick, 250);
setInterval(async () => !sending && list.children.length && sendAll(), 10000);

// The screen stays on while one hand is at the pump, where the browser allows it.
const awake = () => navigator.wakeLock?.request("screen").catch(() => {});
form.addEventListener("click", awake, { once: true });

// Readings that waited over a reload: the clock goes on from the first of them.
mine().then((left) => {
  if (left.length && !zero) zero = Date.parse(left[0].fields.read_at);
  tick();
  if (left.length) sendAll();
});
looked();
