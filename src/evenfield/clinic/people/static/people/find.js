// Shows matches while one types; without this script the Find button does the same.
(() => {
  "use strict";
  const form = document.getElementById("find");
  const found = document.getElementById("found");
  let waiting = 0;
  let asked = 0;

  async function ask() {
    const mine = ++asked;
    try {
      const answer = await fetch(form.action, {
        method: "POST",
        credentials: "same-origin",
        headers: { "X-Requested-With": "evenfield" },
        body: new FormData(form),
      });
      if (answer.status === 423) return document.dispatchEvent(new Event("evenfield:locked"));
      if (answer.ok && mine === asked) found.innerHTML = await answer.text();
    } catch {
      // No network: the list stays as it is, and the button tells.
    }
  }

  form.elements.text.addEventListener("focus", (event) => event.target.select());
  form.addEventListener("input", () => {
    clearTimeout(waiting);
    waiting = setTimeout(ask, 250);
  });
})();
