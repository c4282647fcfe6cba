// Shows how far the background work on this page is, and the page anew when it is done.

const box = document.querySelector("[data-progress]");
const bar = box && box.querySelector("progress");
const doing = box && box.querySelector(".doing");

async function look() {
  try {
    const answer = await fetch(box.dataset.progress, { headers: { Accept: "application/json" } });
    if (answer.ok) {
      const now = await answer.json();
      if (now.done) {
        location.reload();
        return;
      }
      bar.value = now.percent;
      doing.textContent = now.doing;
    }
  } catch {
    // The link is lost: the work goes on, and the next look will tell.
  }
  setTimeout(look, 700);
}

if (box) look();
