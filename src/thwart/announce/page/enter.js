// Exchanges the key of a link, or a pairing code, for this browser's session.
"use strict";

const told = document.getElementById("told");

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
    told.textContent = said.hint ? `${said.error}: ${said.hint}` : said.error;
  }
}

async function begin() {
  const words = await (await fetch("/api/words")).json();
  document.documentElement.lang = words.language.code;
  for (const element of document.querySelectorAll("[data-word]")) {
    element.textContent = words.entering[element.dataset.word];
  }
  const key = new URLSearchParams(location.hash.slice(1)).get("key");
  if (key) await enter({ key });
}

document.getElementById("pair").addEventListener("submit", (event) => {
  event.preventDefault();
  enter({ code: document.getElementById("code").value });
});

begin();
