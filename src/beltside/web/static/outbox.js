// Things typed, tapped or photographed: each goes to the server at once, and waits here while it
// can't.

import { keep, newName, send, throwAway, waiting } from "./keep.js";

const AGAIN_MS = 10000;

/**
 * What goes out to one address.
 *
 * `token` gives the form's token, `list` shows what waits, `words` are "waits", "refused", "again"
 * and "throwAway"; `say` tells the technician, `answered` gets the server's answer to each. Where
 * several forms send to one address, `isMine` tells what is this one's.
 */
export function outbox({ address, token, list, words, say, answered, isMine = () => true }) {
  let sending = Promise.resolve();

  const mine = async () =>
    (await waiting()).filter((one) => one.address === address && isMine(one));

  function waits(one) {
    const row = document.createElement("li");
    row.textContent = `${one.name} `;
    const away = async () => {
      await throwAway(one.id);
      sendAll();
    };
    for (const [text, act] of [[words.again, sendAll], [words.throwAway, away]]) {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "quiet-button";
      button.textContent = text;
      button.onclick = act;
      row.append(button);
    }
    list.append(row);
  }

  async function once() {
    list.replaceChildren();
    let lost = false;
    for (const one of await mine()) {
      // With the link lost the rest is not tried, but shown: nothing waits unseen.
      if (lost) waits(one);
      else
        try {
          answered(await send(one, token()));
        } catch (error) {
          say(error.refused ? `${words.refused} ${error.message}` : words.waits);
          waits(one);
          lost = !error.refused;
        }
    }
  }

  // One after the other: what was tapped first is to be there first.
  function sendAll() {
    sending = sending.then(once, once);
    return sending;
  }

  async function put(fields, name, file = null) {
    await keep(newName(), address, fields, file, name);
    return sendAll();
  }

  window.addEventListener("online", sendAll);
  setInterval(() => list.children.length && sendAll(), AGAIN_MS);
  return { put, sendAll, mine };
}

/** Sends a form of the page in the background; throws when it is refused or the link is lost. */
export async function sendForm(form) {
  const answer = await fetch(form.action, {
    method: "POST",
    body: new FormData(form),
    headers: { Accept: "application/json" },
  });
  if (!answer.ok) throw new Error(answer.status);
  return answer.json();
}
