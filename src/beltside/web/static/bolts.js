// Ticks by tapping the bolt on the drawing or the button; each waits here until the server has it.

import { outbox, sendForm } from "./outbox.js";

const box = document.getElementById("bolts");
const words = JSON.parse(document.getElementById("bolts-words").textContent);
const say = (text) => (document.querySelector(".said").textContent = text);
const TOO_SOON_MS = 600;
let last = 0;

function show(answer) {
  box.innerHTML = answer.said;
  say(answer.spoken);
}

const out = outbox({
  address: new URL(location.pathname + "/tick", location).href,
  token: () => box.querySelector("[name=_token]").value,
  list: document.getElementById("waiting"),
  words,
  say,
  answered: show,
});

function tick(form) {
  // A wet thumb taps twice.
  if (Date.now() - last < TOO_SOON_MS) return;
  last = Date.now();
  const fields = {};
  for (const name of ["fastener", "place", "pass"]) fields[name] = form.elements[name].value;
  navigator.vibrate?.(20);
  out.put(fields, `${fields.fastener}: ${fields.place}`);
}

box.addEventListener("submit", async (event) => {
  event.preventDefault();
  if (event.target.classList.contains("tick")) {
    tick(event.target);
    return;
  }
  try {
    show(await sendForm(event.target));
  } catch {
    say(words.waits);
  }
});

box.addEventListener("click", (event) => {
  const bolt = event.target.closest(".bolt");
  if (!bolt) return;
  const form = box.querySelector("form.tick");
  if (bolt.classList.contains("next")) tick(form);
  else if (form) say(box.dataset.wrongTurn.replace("{place}", form.elements.place.value));
});

out.mine().then((left) => left.length && out.sendAll());
