// The later photograph laid over the first with a slider; without this script both stand side by side.
(() => {
  "use strict";
  const pair = document.getElementById("pair");
  const later = pair.querySelectorAll("img")[1];
  const share = document.getElementById("share");
  const beside = document.getElementById("beside");
  let over = true;

  function show() {
    pair.classList.toggle("over", over);
    document.getElementById("slider").hidden = !over;
    later.style.opacity = over ? share.value / 100 : 1;
    beside.textContent = over ? "Side by side" : "One over the other";
  }

  share.addEventListener("input", show);
  beside.addEventListener("click", () => {
    over = !over;
    show();
  });
  beside.hidden = false;
  show();
})();
