// The clock for running with the belt off: counts down, beeps near the end, says stop.

const WARN_S = 30;
const KEY = "belt-off " + location.pathname;
const LONGEST_MS = 600000;

/** When the clock of this page was started [ms since 1970]; 0 while it does not run. */
export function startedAt() {
  const start = Number(sessionStorage.getItem(KEY));
  return start > Date.now() - LONGEST_MS ? start : 0;
}

function beep(count) {
  try {
    const context = new AudioContext();
    for (let number = 0; number < count; number += 1) {
      const tone = context.createOscillator();
      const loudness = context.createGain();
      tone.frequency.value = 1400;
      tone.connect(loudness).connect(context.destination);
      const at = context.currentTime + number * 0.35;
      loudness.gain.setValueAtTime(0.4, at);
      loudness.gain.setValueAtTime(0, at + 0.2);
      tone.start(at);
      tone.stop(at + 0.22);
    }
    setTimeout(() => context.close(), 400 * count + 300);
  } catch {
    // No sound here: the words on the screen remain.
  }
}

for (const box of document.querySelectorAll(".belt-off")) {
  const start = box.querySelector(".start");
  const stop = box.querySelector(".stop");
  const left = box.querySelector(".left");
  const said = box.querySelector(".said");
  let ticking = 0;

  const shown = (seconds) => {
    const whole = Math.max(0, Math.ceil(seconds));
    left.textContent = `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
  };
  const run = (until) => {
    let warned = false;
    start.hidden = true;
    stop.hidden = false;
    ticking = setInterval(() => {
      const seconds = (until - Date.now()) / 1000;
      shown(seconds);
      if (seconds <= WARN_S && !warned) {
        warned = true;
        beep(2);
      }
      if (seconds <= 0) {
        box.classList.add("over");
        said.textContent = box.dataset.over;
        beep(5);
        clearInterval(ticking);
        ticking = 0;
      }
    }, 200);
  };
  start.hidden = false;
  start.onclick = () => {
    sessionStorage.setItem(KEY, Date.now());
    run(Date.now() + Number(box.dataset.seconds) * 1000);
  };
  stop.onclick = () => {
    clearInterval(ticking);
    sessionStorage.removeItem(KEY);
    box.classList.remove("over");
    said.textContent = "";
    shown(Number(box.dataset.seconds));
    stop.hidden = true;
    start.hidden = false;
  };
  // A reload in between must not lose the clock; a shorter limit holds from the same start.
  if (startedAt()) run(startedAt() + Number(box.dataset.seconds) * 1000);
}
