// Skin coloured by temperature, and the panels, drawn by the library of the plotly package. No lights: they
// would change the colours. Viridis reads the same for all common kinds of colour vision.
(() => {
  "use strict";
  const box = document.getElementById("space");
  const what = document.getElementById("what");
  const words = { skin_c: "skin, °C", fat_c: "hottest fat, °C" };
  const flat = { ambient: 1, diffuse: 0, specular: 0, fresnel: 0, roughness: 1 };

  // Two triangles for each quadrangle of neighbouring nodes; around the axis the last meets the first.
  function triangles(rows, columns, closed) {
    const [i, j, k] = [[], [], []];
    for (let r = 0; r + 1 < rows; r++) {
      for (let c = 0; c + (closed ? 0 : 1) < columns; c++) {
        const next = (c + 1) % columns;
        const [a, b, d, e] = [r * columns + c, r * columns + next, (r + 1) * columns + c, (r + 1) * columns + next];
        i.push(a, b);
        j.push(b, e);
        k.push(d, d);
      }
    }
    return { i, j, k };
  }

  // The view's angle is fixed upwards: in a narrow one the eye goes back until the width fits as well.
  const narrow = () => box.clientWidth < 600;
  const back = () => 1.3 * Math.max(1, (1.15 * box.clientHeight) / box.clientWidth);
  const seen_from = ([x, y, z]) => ({ x: x * back(), y: y * back(), z: z * back() });
  let eye = [1.5, 1.1, 0.6];

  const bar = (title) => ({
    title: { text: title, side: narrow() ? "top" : "right", font: { size: 18 } }, tickfont: { size: 18 }, thickness: 18,
    len: 0.8, ...(narrow() ? { orientation: "h", x: 0.5, xanchor: "center", y: 0, yanchor: "bottom" } : {}),
  });

  function skin(told) {
    const [rows, columns] = told.shape;
    const key = what.value;
    return {
      type: "mesh3d", x: told.x, y: told.y, z: told.z, ...triangles(rows, columns, true),
      intensity: told[key], colorscale: "Viridis", lighting: flat, flatshading: false, hoverinfo: "text",
      text: told[key].map((c) => `${c.toFixed(1)} °C`),
      colorbar: bar(words[key]),
    };
  }

  const panel = (one) => ({
    type: "mesh3d", name: one.name, text: one.name, hoverinfo: "text", color: "#5a5360", opacity: 0.35, lighting: flat,
    x: one.points.map((p) => p[0]), y: one.points.map((p) => p[1]), z: one.points.map((p) => p[2]),
    ...triangles(2, one.points.length / 2, false),
  });

  async function begin() {
    const told = await (await fetch(box.dataset.surface, { credentials: "same-origin" })).json();
    const axis = (title) => ({ title: { text: title, font: { size: 16 } }, tickfont: { size: 14 }, nticks: narrow() ? 4 : 0, backgroundcolor: "#fffdf9", gridcolor: "#ddd6cc" });
    const layout = {
      margin: { l: 0, r: 0, t: 0, b: 0 }, paper_bgcolor: "#fff", font: { size: 18, color: "#262229" },
      scene: { aspectmode: "data", xaxis: axis("to the front, mm"), yaxis: axis("inner or left, mm"),
        zaxis: axis("level, mm"), camera: { eye: seen_from(eye) } },
    };
    const config = { responsive: true, displayModeBar: false, displaylogo: false };
    const draw = () => Plotly.react(box, [skin(told), ...told.panels.map(panel)], layout, config);
    box.replaceChildren();
    box.setAttribute("role", "img");
    box.setAttribute("aria-label", "Skin and panels in space; the words below say the same.");
    await draw();
    what.addEventListener("change", draw);
    const turns = document.getElementById("turns");
    turns.hidden = false;
    for (const button of turns.querySelectorAll("button")) {
      button.addEventListener("click", () => {
        eye = button.dataset.eye.split(",").map(Number);
        Plotly.relayout(box, { "scene.camera.eye": seen_from(eye) });
      });
    }
    box.dataset.drawn = "yes";
  }
  begin().catch((error) => {
    box.textContent = `This browser cannot draw the view in space (${error.message}). The words below say the same.`;
  });
})();
