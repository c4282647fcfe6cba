// What was recorded or photographed stays in this browser until the server has it.
//
// Each thing waits under a name of its own that goes with it to the server, so that sending it
// twice, after a lost link, keeps it once.

const STORE = "waiting";

function open() {
  return new Promise((done, failed) => {
    const asked = indexedDB.open("beltside", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore(STORE, { keyPath: "id" });
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => failed(asked.error);
  });
}

async function inStore(mode, work) {
  const database = await open();
  try {
    return await new Promise((done, failed) => {
      const transaction = database.transaction(STORE, mode);
      const asked = work(transaction.objectStore(STORE));
      transaction.oncomplete = () => done(asked.result);
      transaction.onerror = () => failed(transaction.error);
      transaction.onabort = () => failed(transaction.error);
    });
  } finally {
    database.close();
  }
}

/** A name for something new: time first, then chance. */
export function newName() {
  const chance = crypto.getRandomValues(new Uint8Array(6));
  const time = Date.now().toString(16).padStart(12, "0");
  return time + [...chance].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

/** Keep a file, or null, with the address and the fields it goes to the server with. */
export function keep(id, address, fields, file, name) {
  return inStore("readwrite", (store) => store.put({ id, address, fields, file, name }));
}

/** Everything that still waits. */
export function waiting() {
  return inStore("readonly", (store) => store.getAll());
}

function letGo(id) {
  return inStore("readwrite", (store) => store.delete(id));
}

function post(address, form, progress) {
  return new Promise((done, failed) => {
    const asked = new XMLHttpRequest();
    asked.open("POST", address);
    asked.setRequestHeader("Accept", "application/json");
    asked.responseType = "json";
    asked.upload.onprogress = (now) => now.lengthComputable && progress(now.loaded / now.total);
    asked.onload = () => done(asked);
    asked.onerror = () => failed(new Error("link"));
    asked.send(form);
  });
}

async function freshToken() {
  const page = await fetch(location.href);
  const html = new DOMParser().parseFromString(await page.text(), "text/html");
  const field = html.querySelector('input[name="_token"]');
  return field && field.value;
}

/**
 * Send one thing that waits. Gives back the server's answer; throws when the link is lost (it goes
 * on waiting) or when the server refuses it (it waits too: what was recorded is not thrown away).
 */
export async function send(one, token, progress = () => {}) {
  const form = new FormData();
  for (const [name, value] of Object.entries(one.fields)) {
    for (const each of Array.isArray(value) ? value : [value]) form.append(name, each);
  }
  form.set("_token", token);
  form.set("entry_id", one.id);
  // So that the server can tell how old it is, whatever this clock says.
  form.set("sent_at", new Date().toISOString());
  if (one.file) form.set("file", one.file, one.name);
  let answer = await post(one.address, form, progress);
  if (answer.status === 403) {
    // The server was started anew since this page was opened: it knows another token now.
    const fresh = await freshToken();
    if (fresh && fresh !== token) {
      form.set("_token", fresh);
      answer = await post(one.address, form, progress);
    }
  }
  if (answer.status >= 200 && answer.status < 300) {
    await letGo(one.id);
    return answer.response;
  }
  const said = answer.response || {};
  throw Object.assign(new Error(said.problem || `${answer.status}`), { refused: true, said });
}

/** Throw one thing away for good, when the technician says so. */
export { letGo as throwAway };
