// Plays before and after as one: a tap switches at the same place, and both go round and round.
// With another tap only the band where they differ is heard.

for (const box of document.querySelectorAll(".ab")) {
  const sounds = { before: box.querySelector("audio.before"), after: box.querySelector("audio.after") };
  const buttons = { before: box.querySelector(".ab-before"), after: box.querySelector(".ab-after") };
  const play = box.querySelector(".ab-play");
  let side = "before";

  for (const one of box.querySelectorAll(".ab-buttons")) one.hidden = false;
  for (const sound of Object.values(sounds)) {
    sound.loop = true;
    sound.preload = "auto";
  }
  const switchTo = (to) => {
    if (to === side) return;
    const was = sounds[side];
    const now = sounds[to];
    const playing = !was.paused;
    now.currentTime = Math.min(was.currentTime, now.duration || was.currentTime);
    was.pause();
    if (playing) now.play();
    side = to;
    for (const [name, button] of Object.entries(buttons)) {
      button.setAttribute("aria-pressed", String(name === side));
    }
  };
  const band = box.querySelector(".ab-band");
  let route = null;
  // Two filters on each side, so that the engine's own low sound is well below what is left.
  const routeOf = (low, high) => {
    const context = new AudioContext();
    const filters = ["highpass", "highpass", "lowpass", "lowpass"].map(
      (type) =>
        new BiquadFilterNode(context, { type, frequency: type === "highpass" ? low : high }),
    );
    filters.reduce((one, next) => one.connect(next)).connect(context.destination);
    const sources = Object.values(sounds).map((sound) => context.createMediaElementSource(sound));
    return { context, sources, first: filters[0] };
  };
  const hear = (only) => {
    route ??= routeOf(Number(box.dataset.low), Number(box.dataset.high));
    for (const source of route.sources) {
      source.disconnect();
      source.connect(only ? route.first : route.context.destination);
    }
    route.context.resume();
    band.setAttribute("aria-pressed", String(only));
  };
  if (band) band.onclick = () => hear(band.getAttribute("aria-pressed") !== "true");
  buttons.before.onclick = () => switchTo("before");
  buttons.after.onclick = () => switchTo("after");
  play.onclick = () => (sounds[side].paused ? sounds[side].play() : sounds[side].pause());
}
