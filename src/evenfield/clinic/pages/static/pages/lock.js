// Locks the screen when nobody is at it, and leaves the page in place underneath.
// The server refuses requests while locked, so this only shows what is so; other scripts that get a 423
// answer send the event "evenfield:locked" to the document. A page that is attended to without being touched
// sends "evenfield:attended".
(() => {
  "use strict";
  const { idleSeconds, touch, lock, locked, signIn } = document.body.dataset;
  const idle = Number(idleSeconds) * 1000;
  const screen = document.getElementById("lock-screen");
  const form = screen.querySelector("form");
  const secret = document.getElementById("lock-secret");
  const problem = document.getElementById("lock-problem");
  let active = Date.now();
  let told = Date.now();

  const token = () => (document.cookie.match(/(?:^|; )evenfield_csrf=([^;]+)/) || [])[1] || "";
  const post = (address, body) =>
    fetch(address, {
      method: "POST",
      credentials: "same-origin",
      headers: { "X-CSRFToken": token(), "X-Requested-With": "evenfield" },
      body: body,
      keepalive: true, // leaving the page does not take the request back
    });

  function show() {
    if (screen.open) return;
    document.body.classList.add("locked");
    problem.hidden = true;
    secret.value = "";
    screen.showModal();
    secret.focus();
  }

  function hide() {
    active = told = Date.now();
    document.body.classList.remove("locked");
    screen.close();
    document.dispatchEvent(new Event("evenfield:unlocked"));
  }

  // Until the server knows, whoever reloads the page is let in: say it again until it answers.
  async function lockServer() {
    try {
      if ((await post(lock)).status < 500) return;
    } catch {
      // No network just now.
    }
    setTimeout(() => screen.open && lockServer(), 1000);
  }

  async function tellServer() {
    told = Date.now();
    try {
      const answer = await post(touch);
      if (answer.status === 423) show();
      if (answer.status === 401) location.assign(signIn);
    } catch {
      // No network: the server counts on by itself, and the next touch tells.
    }
  }

  function seen() {
    if (screen.open) return;
    active = Date.now();
    if (active - told > 20000) tellServer();
  }

  for (const kind of ["pointerdown", "keydown", "input", "wheel", "touchstart"]) {
    document.addEventListener(kind, seen, { passive: true, capture: true });
  }
  document.addEventListener("evenfield:attended", seen);
  document.addEventListener("evenfield:locked", show);
  screen.addEventListener("cancel", (event) => event.preventDefault());

  document.querySelector(".who form").addEventListener("submit", (event) => {
    event.preventDefault();
    show();
    lockServer();
  });

  setInterval(() => {
    if (!screen.open && Date.now() - active >= idle) {
      show();
      lockServer();
    }
  }, 1000);

  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (secret.disabled) return; // the answer to the last one is still out
    const said = new FormData(form);
    secret.disabled = true; // what is typed now would be wiped by the answer
    try {
      const answer = await post(locked, said);
      if (answer.ok) return hide();
      if (answer.status === 401) return location.assign(signIn);
      const told = await answer.json();
      problem.textContent = "This did not match. Tries left: " + told.left + ".";
    } catch {
      problem.textContent = "The server does not answer. The page stays as it is; try again in a moment.";
    } finally {
      secret.disabled = false;
    }
    problem.hidden = false;
    secret.value = "";
    secret.focus();
  });
})();
