// A tap on a part shows its lines alone; a second tap shows all again.

const tiles = document.getElementById("part-tiles");
const groups = [...document.querySelectorAll(".part-lines")];

if (tiles && groups.length > 1) {
  tiles.hidden = false;
  let chosen = "";
  for (const group of groups) {
    const tile = document.createElement("button");
    tile.type = "button";
    tile.textContent = group.querySelector("strong").textContent;
    tile.setAttribute("aria-pressed", "false");
    tile.onclick = () => {
      chosen = chosen === group.dataset.part ? "" : group.dataset.part;
      for (const other of groups) {
        other.hidden = chosen !== "" && other.dataset.part !== chosen;
        other.open = other.dataset.part === chosen;
      }
      for (const one of tiles.children) one.setAttribute("aria-pressed", String(one === tile && chosen !== ""));
    };
    tiles.append(tile);
  }
}
