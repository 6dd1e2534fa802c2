// Enter leads to the next field instead of sending half a set; from the last one to the button. Without this
// script Enter sends the form, and what is missing is asked for.
(() => {
  "use strict";
  const form = document.getElementById("entry");
  form.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.isComposing || event.target.tagName !== "INPUT") return;
    event.preventDefault();
    const stops = [...form.querySelectorAll("input:not([type=hidden]), button")];
    const next = stops[stops.indexOf(event.target) + 1];
    next.focus();
    if (next.matches("input.number")) next.select();
  });
  // This script may come late: whoever types already is not called away.
  if (document.activeElement === document.body) form.querySelector("[autofocus]")?.focus();
})();
