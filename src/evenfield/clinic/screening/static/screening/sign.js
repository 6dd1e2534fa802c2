// A signature drawn on the screen, kept as moves and lines; without this script typed name and tick do.
(() => {
  "use strict";
  const pad = document.getElementById("pad");
  const kept = document.querySelector("#consent [name=drawing]");
  const pen = pad.getContext("2d");
  const longest = Number(kept.maxLength) > 0 ? kept.maxLength : 40000;
  let drawing = false;
  document.getElementById("drawn").hidden = false;

  function point(event) {
    const box = pad.getBoundingClientRect();
    const within = (value, most) => Math.max(0, Math.min(most, Math.round(value)));
    return [
      within(((event.clientX - box.left) * pad.width) / box.width, pad.width),
      within(((event.clientY - box.top) * pad.height) / box.height, pad.height),
    ];
  }

  function show() {
    pen.clearRect(0, 0, pad.width, pad.height);
    pen.lineWidth = 3;
    pen.lineCap = pen.lineJoin = "round";
    pen.strokeStyle = "#262229";
    if (kept.value) pen.stroke(new Path2D(kept.value));
  }

  function add(letter, event) {
    const step = `${letter}${point(event).join(" ")}`;
    if (kept.value.length + step.length + 1 > longest) return;
    kept.value += kept.value ? ` ${step}` : step;
    show();
  }

  pad.addEventListener("pointerdown", (event) => {
    drawing = true;
    pad.setPointerCapture(event.pointerId);
    add("M", event);
  });
  pad.addEventListener("pointermove", (event) => drawing && add("L", event));
  for (const name of ["pointerup", "pointercancel"]) pad.addEventListener(name, () => (drawing = false));
  document.getElementById("clear").addEventListener("click", () => {
    kept.value = "";
    show();
  });
  show();
})();
