// Shows how far a computation is, and loads the page again when it is over.
(() => {
  "use strict";
  const box = document.getElementById("job");
  if (!box) return;
  const state = document.getElementById("job-state");
  const step = document.getElementById("job-step");
  const share = document.getElementById("job-share");
  const headers = { "X-Requested-With": "evenfield" };

  async function look() {
    let told;
    try {
      const answer = await fetch(box.dataset.job, { headers, credentials: "same-origin" });
      if (answer.status === 423) {
        document.dispatchEvent(new Event("evenfield:locked"));
        document.addEventListener("evenfield:unlocked", look, { once: true });
        return;
      }
      if (answer.status === 401) return location.reload();
      told = await answer.json();
    } catch {
      state.textContent = "the server does not answer; trying again";
      return setTimeout(look, 4000);
    }
    if (!told.active) return location.reload();
    state.textContent = told.state === "waiting" ? "waiting for its turn" : "being computed";
    step.textContent = told.state === "waiting" ? "" : told.step;
    if (told.percent > 0) share.value = told.percent;
    else share.removeAttribute("value");
    setTimeout(look, 1000);
  }
  look();
})();
