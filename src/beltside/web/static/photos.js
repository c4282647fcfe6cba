// Photos of a form: each goes to the server by itself as soon as it is chosen, and waits in this
// browser while it can't. The form then names the photo instead of carrying it.
//
// A file field says in data-photo which field of the form is to name its photo, and in
// data-caption what the photo shows.

import { outbox } from "./outbox.js";

const words = JSON.parse(document.getElementById("photo-words").textContent);

for (const form of document.querySelectorAll("form[data-photos]")) {
  const list = form.querySelector(".photos-waiting");
  const said = form.querySelector(".photos-said");
  const inputs = [...form.querySelectorAll("input[type=file][data-photo]")];
  const mine = (one) => inputs.find((input) => input.dataset.photo === one.fields.for);

  function say(text) {
    said.textContent = text;
  }

  function names(field, file) {
    let hidden = form.querySelector(`input[type=hidden][name="${field}"]`);
    if (!hidden) {
      hidden = document.createElement("input");
      hidden.type = "hidden";
      hidden.name = field;
      form.append(hidden);
    }
    hidden.value = file;
    // What was marked on another photo does not hold for this one.
    const marked = field.replace(/photo$/, "");
    for (const old of form.querySelectorAll(".marking")) {
      if (`${old.dataset.name}.` === marked) old.remove();
    }
  }

  const out = outbox({
    address: form.dataset.photos,
    token: () => form.elements._token.value,
    list,
    words,
    say,
    isMine: mine,
    answered({ file, for: field }) {
      names(field, file);
      const input = mine({ fields: { for: field } });
      const shown = input.parentElement.querySelector(".photo-kept") || new Image();
      shown.className = "photo-kept picture";
      shown.alt = words.kept;
      shown.src = `/file/${file}`;
      input.after(shown);
      say(words.kept);
    },
  });

  for (const input of inputs) {
    input.addEventListener("change", async () => {
      const file = input.files[0];
      if (!file) return;
      say(words.sending);
      const fields = { for: input.dataset.photo, caption: input.dataset.caption };
      await out.put(fields, file.name, file);
      // It is kept here or there now: the form carries it no more.
      input.value = "";
    });
  }

  form.addEventListener("submit", async (event) => {
    if (event.defaultPrevented || !list.children.length) return;
    event.preventDefault();
    const button = event.submitter;
    await out.sendAll();
    if (!list.children.length) form.requestSubmit(button);
  });

  out.sendAll();
}
