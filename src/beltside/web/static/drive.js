// Draws the drive while its rows are filled in; what is wrong is said under the picture.

const form = document.getElementById("drive-form");
const picture = document.getElementById("drive-picture");
const said = document.getElementById("drive-said");
const PAUSE_MS = 500;
let waiting = 0;
let asked = 0;

async function draw() {
  asked += 1;
  const mine = asked;
  try {
    const answer = await fetch(form.dataset.draw, { method: "POST", body: new FormData(form) });
    if (!answer.ok || mine !== asked) return;
    const drawn = await answer.json();
    picture.hidden = !drawn.picture;
    if (drawn.picture) picture.src = drawn.picture;
    said.replaceChildren(
      ...[...Object.values(drawn.problems), ...drawn.said].map((text) => {
        const line = document.createElement("p");
        line.className = "hint";
        line.textContent = text;
        return line;
      }),
    );
  } catch {
    // The link is lost: the fields stay as they are.
  }
}

if (form.dataset.draw && !form.elements.toml) {
  form.addEventListener("input", () => {
    clearTimeout(waiting);
    waiting = setTimeout(draw, PAUSE_MS);
  });
}
