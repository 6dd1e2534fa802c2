// Fills a panel's measures from one of the clinic's panels. Without scripts they are typed.
(() => {
  "use strict";
  const known = { shape: "shape", width: "width_mm", length: "length_mm" };
  for (const choice of document.querySelectorAll(".sizes select")) {
    choice.closest(".sizes").hidden = false;
    choice.addEventListener("change", () => {
      const chosen = choice.selectedOptions[0];
      if (!chosen.value) return;
      for (const [from, to] of Object.entries(known)) {
        const field = document.getElementById(`${choice.dataset.panel}-${to}`);
        field.value = chosen.dataset[from];
        document.getElementById(`${field.id}-from`).textContent = `Panel “${chosen.textContent}”`;
      }
    });
  }
  const first = document.querySelector("[aria-invalid=true]");
  if (first) {
    const folded = first.closest("details");
    if (folded) folded.open = true;
    if (document.activeElement === document.body) first.focus(); // nobody who types already is called away
  }
})();
