// Records a take with the phone's microphone: level, clipping and wind are watched while it runs,
// and what was recorded waits in the browser until the server has it.

import { keep, newName, send, throwAway, waiting } from "./keep.js";

const box = document.getElementById("recorder");
const words = JSON.parse(document.getElementById("recorder-words").textContent);
const form = document.getElementById("take-form");
const say = (text) => (box.querySelector(".said").textContent = text);
const start = box.querySelector(".start");
const stop = box.querySelector(".stop");
const meter = box.querySelector("meter");
const clock = box.querySelector(".clock");
const list = document.getElementById("waiting");

const COUNT_IN_S = 3;
const CLIPPED = 0.985;
const WIND_BELOW_HZ = 60;
const WIND_SHARE = 0.9;

let recorder = null;
let warned = { clipped: 0, wind: 0, frames: 0 };

function conditions() {
  const fields = {};
  for (const [name, value] of new FormData(form)) {
    if (value instanceof File || name.startsWith("_") || name === "entry_id") continue;
    if (name in fields) fields[name] = [].concat(fields[name], value);
    else fields[name] = value;
  }
  fields.recorded_at = new Date().toISOString();
  return fields;
}

function kind() {
  const able = ["audio/webm;codecs=opus", "audio/mp4", "audio/ogg;codecs=opus"];
  return able.find((type) => MediaRecorder.isTypeSupported(type)) || "";
}

function watch(stream) {
  const context = new AudioContext();
  const look = context.createAnalyser();
  look.fftSize = 4096;
  context.createMediaStreamSource(stream).connect(look);
  const wave = new Float32Array(look.fftSize);
  const bins = new Float32Array(look.frequencyBinCount);
  const each = context.sampleRate / look.fftSize;
  let running = true;
  const step = () => {
    if (!running) return;
    look.getFloatTimeDomainData(wave);
    look.getFloatFrequencyData(bins);
    let peak = 0;
    for (const value of wave) peak = Math.max(peak, Math.abs(value));
    let low = 0;
    let all = 0;
    bins.forEach((level, index) => {
      const power = 10 ** (level / 10);
      all += power;
      if (index * each < WIND_BELOW_HZ) low += power;
    });
    meter.value = Math.max(0, 60 + 20 * Math.log10(peak + 1e-9));
    warned.frames += 1;
    warned.clipped += peak > CLIPPED;
    warned.wind += all > 0 && low / all > WIND_SHARE && peak > 0.05;
    if (recorder && recorder.state === "recording") {
      if (warned.clipped > 3) say(words.clipped);
      else if (warned.wind > warned.frames / 3 && warned.frames > 30) say(words.wind);
    }
    requestAnimationFrame(step);
  };
  step();
  return () => {
    running = false;
    context.close();
  };
}

const pause = (seconds) => new Promise((done) => setTimeout(done, seconds * 1000));

async function record() {
  start.disabled = true;
  let stream;
  try {
    stream = await navigator.mediaDevices.getUserMedia({
      // What a phone does to make voices pleasant spoils an engine's sound.
      audio: { echoCancellation: false, noiseSuppression: false, autoGainControl: false },
    });
  } catch (error) {
    say(error.name === "NotAllowedError" ? words.refused : words.none);
    start.disabled = false;
    return;
  }
  const unwatch = watch(stream);
  // The screen stays on meanwhile, where the browser allows it: some stop recording with it.
  const lit = await navigator.wakeLock?.request("screen").catch(() => null);
  for (let left = COUNT_IN_S; left > 0; left -= 1) {
    say(words.countIn.replace("{seconds}", left));
    await pause(1);
  }
  warned = { clipped: 0, wind: 0, frames: 0 };
  const pieces = [];
  const type = kind();
  recorder = new MediaRecorder(stream, { ...(type && { mimeType: type }), audioBitsPerSecond: 128000 });
  recorder.ondataavailable = (event) => event.data.size && pieces.push(event.data);
  const ended = new Promise((done) => (recorder.onstop = done));
  const began = Date.now();
  recorder.start(1000);
  stop.hidden = false;
  stop.focus();
  start.hidden = true;
  say(words.running);
  const ticking = setInterval(() => {
    const seconds = Math.round((Date.now() - began) / 1000);
    clock.textContent = `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
    if (seconds >= Number(box.dataset.mostSeconds)) recorder.stop();
  }, 250);
  stop.onclick = () => recorder.state === "recording" && recorder.stop();
  await ended;
  clearInterval(ticking);
  unwatch();
  lit?.release();
  for (const track of stream.getTracks()) track.stop();
  stop.hidden = true;
  start.hidden = false;
  start.disabled = false;
  const file = new Blob(pieces, { type: recorder.mimeType || "audio/webm" });
  const ending = file.type.includes("mp4") ? "m4a" : file.type.includes("ogg") ? "ogg" : "webm";
  const id = newName();
  const made = new Date().toISOString().slice(0, 19).replaceAll(":", "-");
  await keep(id, form.action, conditions(), file, `take-${made}.${ending}`);
  await sendAll();
}

async function sendAll() {
  const all = (await waiting()).filter((one) => one.address === form.action);
  list.replaceChildren();
  let lost = false;
  for (const one of all) {
    const row = document.createElement("li");
    row.textContent = one.name;
    list.append(row);
    if (lost) {
      choices(row, one);
      continue;
    }
    try {
      say(words.sending);
      const answer = await send(one, form.elements._token.value, (share) => {
        row.textContent = `${one.name} ${Math.round(share * 100)} %`;
      });
      row.remove();
      say(words.kept);
      if (answer && answer.href) location.assign(answer.href);
    } catch (error) {
      say(error.refused ? `${words.refusedByServer} ${error.message}` : words.waits);
      choices(row, one);
      // The rest is not tried then, but shown: nothing waits unseen.
      lost = !error.refused;
    }
  }
}

function choices(row, one) {
  const away = document.createElement("button");
  away.type = "button";
  away.textContent = words.throwAway;
  away.onclick = async () => {
    await throwAway(one.id);
    row.remove();
  };
  const again = document.createElement("button");
  again.type = "button";
  again.textContent = words.again;
  again.onclick = sendAll;
  row.append(" ", again, " ", away);
}

if (navigator.mediaDevices && window.MediaRecorder) {
  box.hidden = false;
  start.onclick = record;
} else {
  document.getElementById("no-recorder").hidden = false;
}
window.addEventListener("online", sendAll);
sendAll();
