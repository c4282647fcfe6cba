// While the belt-off clock runs, a temperature typed in gets its time by itself.

import { startedAt } from "./belt-off.js";

const form = document.getElementById("ask-clock");

form.addEventListener("input", (event) => {
  const name = event.target.name || "";
  const start = startedAt();
  if (!start || !/^readings\.\d+\.temperature_c$/.test(name)) return;
  const time = form.elements[name.replace("temperature_c", "minutes")];
  if (time.value) return;
  const seconds = Math.round((Date.now() - start) / 1000);
  time.value = `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
});
