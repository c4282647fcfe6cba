// What was typed and is not kept yet stays in this tab: a page that is loaded anew, left and come
// back to, or sent while the link was lost, has it back.
//
// It goes once the server has answered a form that was sent, on signing out, and with the tab. Taps
// alone (radio buttons, boxes) are no typing: a take must not get the conditions of the one before.

const HEAD = "typed ";
const words = document.getElementById("typed-words").dataset;
const TYPED = "input:not([type]), input[type=text], input[type=date], input[type=email], input[type=tel], textarea";

function read(key) {
  try {
    return JSON.parse(sessionStorage.getItem(key));
  } catch {
    return null;
  }
}

function write(key, draft) {
  try {
    if (draft) sessionStorage.setItem(key, JSON.stringify(draft));
    else sessionStorage.removeItem(key);
  } catch {
    // No room, or none allowed: then it stays on the page alone.
  }
}

function drop(which) {
  for (const key of Object.keys(sessionStorage)) {
    if (key.startsWith(HEAD) && which(read(key))) write(key, null);
  }
}

/** The forms of this page that are typed into, each under a name of its own. */
function forms() {
  const found = new Map();
  const count = {};
  for (const form of document.querySelectorAll('form[method="post"]:not([data-typed="no"])')) {
    if (!form.querySelector(TYPED)) continue;
    const path = form.getAttribute("action") ?? "";
    count[path] = (count[path] ?? 0) + 1;
    found.set(form, `${HEAD}${location.pathname} ${path} ${count[path]}`);
  }
  return found;
}

const fields = (form) => form.querySelectorAll(`${TYPED}, select`);
const given = (field) =>
  field.matches("select")
    ? ([...field.options].find((one) => one.defaultSelected) ?? field.options[0])?.value ?? ""
    : field.defaultValue;

function remember(form, key) {
  const draft = { page: location.pathname, sent: false, fields: {} };
  let typed = false;
  for (const field of fields(form)) {
    if (!field.name || field.value === given(field)) continue;
    typed ||= field.matches(TYPED);
    draft.fields[field.name] = [given(field), field.value];
  }
  write(key, typed ? draft : null);
}

function note(form, text, undo) {
  const said = document.createElement("p");
  said.className = "saved";
  said.setAttribute("role", "status");
  said.textContent = `${text} `;
  const button = document.createElement("button");
  button.type = "button";
  button.className = "quiet-button";
  button.textContent = words.drop;
  button.onclick = () => {
    undo();
    said.remove();
  };
  said.append(button);
  form.prepend(said);
}

function bringBack(form, key) {
  const draft = read(key);
  if (!draft) return;
  write(key, { ...draft, sent: false });
  const back = [];
  const other = [];
  for (const field of fields(form)) {
    const [was, typed] = draft.fields[field.name] ?? [];
    if (typed === undefined || field.value === typed) continue;
    if (given(field) !== was) {
      // Kept by somebody else meanwhile: his stays, and what was typed here is told.
      if (field.matches(TYPED)) other.push(typed);
      continue;
    }
    field.value = typed;
    field.closest("details")?.setAttribute("open", "");
    back.push(field);
  }
  const undo = () => {
    for (const field of back) field.value = given(field);
    write(key, null);
    form.dispatchEvent(new Event("input"));
  };
  if (other.length) note(form, `${words.changed} ${other.join("; ")}.`, undo);
  if (back.length) {
    note(form, words.back, undo);
    form.dispatchEvent(new Event("input"));
  }
}

const how = performance.getEntriesByType("navigation")[0]?.type;
if (location.pathname === "/pair") {
  drop(() => true);
} else {
  // A page that follows from the one where it was typed answers what was sent there; a page that
  // is come back to, or opened anew after an error of the link, does not.
  const before = document.referrer ? new URL(document.referrer).pathname : "";
  if (how !== "back_forward") drop((draft) => !draft || (draft.sent && draft.page === before));
  for (const [form, key] of forms()) {
    bringBack(form, key);
    form.addEventListener("input", (event) => event.target !== form && remember(form, key));
    form.addEventListener("submit", (event) => {
      const draft = read(key);
      // What a script of the page sends waits in its own outbox.
      if (draft) write(key, event.defaultPrevented ? null : { ...draft, sent: true });
    });
  }
}
