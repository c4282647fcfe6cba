// Shows how far the background work on this page is, and the page anew when it is done: unless
// something is being typed or sent, which a new page would lose.

const box = document.querySelector("[data-progress]");
const bar = box && box.querySelector("progress");
const doing = box && box.querySelector(".doing");
let touched = false;
let sent = false;

function offer() {
  const link = document.createElement("a");
  link.className = "button";
  link.href = location.href;
  link.textContent = box.dataset.done;
  bar.hidden = true;
  doing.replaceChildren(link);
}

async function look() {
  if (sent) return;
  try {
    const answer = await fetch(box.dataset.progress, { headers: { Accept: "application/json" } });
    if (answer.ok) {
      const now = await answer.json();
      if (sent) return;
      if (now.done) {
        if (touched) offer();
        else location.reload();
        return;
      }
      bar.value = now.percent;
      if (now.doing) doing.textContent = now.doing;
    }
  } catch {
    // The link is lost: the work goes on, and the next look will tell.
  }
  setTimeout(look, 700);
}

if (box) {
  document.addEventListener("input", () => (touched = true));
  document.addEventListener("submit", () => (sent = true));
  look();
}
