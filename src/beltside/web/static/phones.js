// Tells on the code's page when the phone is paired, or the code is over.

const box = document.querySelector("#code");
const said = document.querySelector("#code-state");

async function look() {
  try {
    const answer = await fetch(box.dataset.asks, { headers: { Accept: "application/json" } });
    if (answer.ok) {
      const { state } = await answer.json();
      if (state === "used") {
        said.textContent = box.dataset.used;
        location.assign("/phones?saved=1");
        return;
      }
      if (state === "over") {
        said.textContent = box.dataset.over;
        return;
      }
    }
  } catch {
    // The server may be away for a moment; the next look will tell.
  }
  setTimeout(look, 1500);
}

if (box) look();
