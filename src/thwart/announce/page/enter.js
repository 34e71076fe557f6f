// Exchanges the key of a link, or a pairing code, for this browser's session.

import { el, entering, loadWords, withActs } from "/page/page.js";

const told = el("p", { id: "told", role: "status" });

async function enter(proof) {
  const answer = await fetch("/api/enter", {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify(proof),
  });
  const said = await answer.json();
  if (said.ok) {
    // Without the fragment: the key must not stay in the address.
    history.replaceState(null, "", location.pathname);
    location.reload();
  } else {
    told.replaceChildren(...withActs([said.error, said.hint].filter(Boolean).join(": ")));
  }
}

async function begin() {
  await loadWords();
  const code = el("input", { id: "code", inputmode: "numeric", autocomplete: "off", maxlength: 6, pattern: "[0-9]{6}", required: true });
  told.replaceChildren(...withActs(entering("pair-told")));
  document.title = entering("pair-title");
  document.body.append(el("main", {},
    el("h1", {}, entering("pair-title")), told,
    el("form", { id: "pair", on: (event) => {
      event.preventDefault();
      enter({ code: code.value });
    } }, el("label", { for: "code" }, entering("pair-code")), code, el("button", {}, entering("pair-enter")))));
  const key = new URLSearchParams(location.hash.slice(1)).get("key");
  if (key) await enter({ key });
}

begin();
