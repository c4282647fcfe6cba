// A tap anywhere or a key goes on, the left arrow goes back; steps come in without a new page, so
// that reading aloud and the screen staying on last. Without it every step is a page of its own.

import { tick } from "./clock.js";

const HOLD_MS = 700; // A second tap this soon is the first one's tremble.
const ON = new Set([" ", "Enter", "ArrowRight", "ArrowDown", "PageDown"]);
const BACK = new Set(["ArrowLeft", "ArrowUp", "PageUp", "Backspace"]);
const aloud = document.getElementById("aloud");
const KEY = "read aloud";
let busy = false;
let changed = 0;

const speaks = "speechSynthesis" in window;

function say() {
  if (!speaks) return;
  speechSynthesis.cancel();
  if (aloud.getAttribute("aria-pressed") !== "true") return;
  const step = document.getElementById("step");
  const words = new SpeechSynthesisUtterance(step.dataset.say);
  words.lang = step.lang;
  speechSynthesis.speak(words);
}

async function stayOn() {
  try {
    if (document.visibilityState === "visible") await navigator.wakeLock?.request("screen");
  } catch {
    // The browser does not let the screen stay on: the step is still there when it comes back.
  }
}

async function send(form, button) {
  if (busy || Date.now() - changed < HOLD_MS) return;
  busy = true;
  document.body.classList.add("busy");
  const fields = new FormData(form);
  fields.set(button.name, button.value);
  try {
    const answer = await fetch(form.action, { method: "POST", body: fields });
    take(await answer.text(), answer.url);
  } catch {
    const lost = document.getElementById("lost");
    lost.textContent = document.getElementById("step").dataset.lost;
    lost.hidden = false;
  } finally {
    busy = false;
    document.body.classList.remove("busy");
  }
}

async function follow(link) {
  if (busy || Date.now() - changed < HOLD_MS) return;
  busy = true;
  try {
    const answer = await fetch(link.href);
    take(await answer.text(), answer.url);
  } catch {
    location.assign(link.href);
  } finally {
    busy = false;
  }
}

// Put the step of an answer in the place of the one shown; another kind of page is gone to.
function take(html, address) {
  const come = new DOMParser().parseFromString(html, "text/html");
  const step = come.getElementById("step");
  if (!step) {
    location.assign(address);
    return;
  }
  document.getElementById("step").replaceWith(document.adoptNode(step));
  document.querySelector(".top .home").replaceWith(
    document.adoptNode(come.querySelector(".top .home")),
  );
  document.title = come.title;
  history.replaceState(null, "", address);
  scrollTo(0, 0);
  changed = Date.now();
  begin();
  document.getElementById("step-title").focus({ preventScroll: true });
  say();
}

function begin() {
  document.getElementById("how")?.removeAttribute("hidden");
  tick();
}

function go() {
  const button = document.getElementById("go");
  if (button.tagName === "BUTTON") send(button.form, button);
  else if (button.pathname.endsWith("/plan/step")) follow(button);
  else location.assign(button.href);
}

function back() {
  const button = document.getElementById("back");
  if (button) send(button.form, button);
}

document.addEventListener("click", (event) => {
  if (event.target.closest("#go")) {
    event.preventDefault();
    go();
    return;
  }
  const other = event.target.closest("#back, #pause");
  if (other) {
    event.preventDefault();
    send(other.form, other);
    return;
  }
  // Links and the button for reading aloud do what they say; a text being marked is no tap.
  if (event.target.closest("a, button, input") || String(getSelection())) return;
  go();
});

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey || event.repeat) return;
  const at = event.target.closest?.("a, button, input");
  // On a link or a button a key means that one, but on the large button it means on.
  if (at && at.id !== "go" && (event.key === " " || event.key === "Enter")) return;
  if (ON.has(event.key)) {
    event.preventDefault();
    go();
  } else if (BACK.has(event.key)) {
    event.preventDefault();
    back();
  } else if (event.key === "Escape") {
    location.assign(document.querySelector(".top .home").href);
  }
});
// The large button answers to the key going down; coming up must not press it once more.
document.addEventListener("keyup", (event) => {
  if (event.target.id === "go" && event.key === " ") event.preventDefault();
});

if (speaks) {
  aloud.hidden = false;
  aloud.setAttribute("aria-pressed", String(sessionStorage.getItem(KEY) === "on"));
  aloud.addEventListener("click", () => {
    const on = aloud.getAttribute("aria-pressed") !== "true";
    aloud.setAttribute("aria-pressed", String(on));
    sessionStorage.setItem(KEY, on ? "on" : "off");
    say();
  });
  addEventListener("pagehide", () => speechSynthesis.cancel());
}
document.addEventListener("visibilitychange", stayOn);
stayOn();
begin();
