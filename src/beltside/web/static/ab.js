// Plays before and after as one: a tap switches at the same place, and both go round and round.

for (const box of document.querySelectorAll(".ab")) {
  const sounds = { before: box.querySelector("audio.before"), after: box.querySelector("audio.after") };
  const buttons = { before: box.querySelector(".ab-before"), after: box.querySelector(".ab-after") };
  const play = box.querySelector(".ab-play");
  let side = "before";

  box.querySelector(".ab-buttons").hidden = false;
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
  buttons.before.onclick = () => switchTo("before");
  buttons.after.onclick = () => switchTo("after");
  play.onclick = () => (sounds[side].paused ? sounds[side].play() : sounds[side].pause());
}
