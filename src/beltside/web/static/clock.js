// The clock of a step counts on the page; the server has kept when it was started.

const shown = (seconds) => {
  const whole = Math.max(0, Math.floor(seconds));
  const hours = Math.floor(whole / 3600);
  const minutes = String(Math.floor((whole % 3600) / 60)).padStart(hours ? 2 : 1, "0");
  return `${hours ? `${hours}:` : ""}${minutes}:${String(whole % 60).padStart(2, "0")}`;
};

export function tick() {
  for (const one of document.querySelectorAll(".clock-now")) {
    const before = 60 * Number(one.dataset.minutes);
    one.textContent = shown(before + (Date.now() - Date.parse(one.dataset.since)) / 1000);
  }
}

tick();
setInterval(tick, 1000);
