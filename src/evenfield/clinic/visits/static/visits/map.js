// The body map: each panel as its nine zones as one sees it standing before the panel, skin and fat apart.
import { HIGH, LOW, colour, draw, ink } from "./palette.js";

const GAP = 14;
const HEAD = 30;
const CELL_HIGH = 48;

export class BodyMap {
  constructor(place, tapped) {
    this.place = place;
    this.tapped = tapped;
    this.plan = null;
    this.told = "";
    new ResizeObserver(() => this.show(this.last)).observe(place);
  }

  // state: estimate (or null), spots [{panel, zone}], readings {zone: °C}, aged: the estimate is old
  show(state) {
    if (!state || !this.plan) return;
    this.last = state;
    const width = Math.floor(this.place.clientWidth);
    const told = JSON.stringify([state, width, this.plan.panels.length]);
    if (told === this.told || width < 100) return;
    const focused = document.activeElement && document.activeElement.dataset ? document.activeElement.dataset.zone : "";
    const focusedTissue = focused ? document.activeElement.dataset.tissue : "";
    this.told = told;
    this.place.replaceChildren(this.plan.panels.length ? this.panels(state, width) : this.sides(state, width));
    if (focused) {
      const again = this.place.querySelector(
        '[data-zone="' + CSS.escape(focused) + '"][data-tissue="' + focusedTissue + '"]');
      if (again) again.focus();
    }
  }

  panels(state, width) {
    const blocks = [];
    for (const tissue of ["skin", "fat"]) for (const panel of this.plan.panels) blocks.push({ tissue, panel });
    const across = width >= 700 ? Math.min(blocks.length, 4) : 2;
    const wide = (width - (across - 1) * GAP) / across;
    const high = HEAD + 3 * CELL_HIGH + GAP;
    const rows = Math.ceil(blocks.length / across);
    const svg = draw("svg", { width, height: rows * high + 46, role: "group", "aria-label": "Body map" });
    blocks.forEach(({ tissue, panel }, place) => {
      const left = (place % across) * (wide + GAP);
      const top = Math.floor(place / across) * high;
      svg.append(this.heading(tissue, panel, left, top));
      for (const zone of panel.zones) {
        const box = { x: left + (zone.across * wide) / 3, y: top + HEAD + (2 - zone.along) * CELL_HIGH,
          width: wide / 3, height: CELL_HIGH };
        svg.append(this.cell(tissue, zone, box, state));
      }
    });
    svg.append(this.bar(width, rows * high));
    return svg;
  }

  // Without a plan: the four sides of the region.
  sides(state, width) {
    const wide = width / 4;
    const svg = draw("svg", { width, height: 78, role: "group", "aria-label": "Sides of the region" });
    this.plan.places.forEach((zone, place) => {
      const box = { x: place * wide, y: 4, width: wide, height: 64 };
      svg.append(this.cell("skin", zone, box, state, zone.name));
    });
    return svg;
  }

  heading(tissue, panel, left, top) {
    const words = draw("text", { x: left + 2, y: top + 21, class: "map-head" });
    words.textContent = (tissue === "skin" ? "Skin" : "Fat") + " · " + panel.name;
    return words;
  }

  cell(tissue, zone, box, state, words = "") {
    const found = state.estimate && state.estimate.zones.find((one) => one.zone === zone.label);
    const numbers = found && found[tissue + "_mean_c"];
    const read = tissue === "skin" ? state.readings[zone.label] : undefined;
    const spot = state.spots.some((one) => one.zone === zone.label || (!one.zone && one.panel && one.panel === zone.panel));
    const value = numbers ? numbers[0] : read;
    const old = numbers && state.aged;
    const shade = value === undefined || old ? "#efeaf2" : colour(value);
    const inkNow = value === undefined || old ? "#262229" : ink(value);
    const said = [zone.label, tissue];
    if (numbers) said.push((old ? "old estimate " : "estimated ") + value.toFixed(1) + " °C, 90 % " + numbers[3].toFixed(1) + " to " + numbers[4].toFixed(1));
    if (read !== undefined) said.push("read " + read.toFixed(1) + " °C");
    if (spot) said.push("hot spot reported");
    said.push("tap: hot spot here");
    const group = draw("g", { role: "button", tabindex: "0", class: "zone", "aria-label": said.join(", "),
      "data-zone": zone.label, "data-tissue": tissue });
    group.append(draw("title", {}, said.join(", ")));
    group.append(draw("rect", { x: box.x + 1, y: box.y + 1, width: box.width - 2, height: box.height - 2, rx: 5,
      fill: shade, class: "zone-box" + (found && found.disagrees ? " doubted" : "") }));
    if (spot) group.append(draw("circle", { cx: box.x + box.width - 11, cy: box.y + 11, r: 6.5, class: "spot" }));
    const number = value === undefined ? "" : old ? "(" + value.toFixed(1) + ")" : value.toFixed(1) + (numbers ? "" : " read");
    const lines = [words, number].filter(Boolean);
    lines.forEach((line, place) => {
      const text = draw("text", { x: box.x + box.width / 2 - (spot ? 8 : 0), fill: inkNow, class: "zone-value",
        y: box.y + box.height / 2 + 7 + 24 * (place - (lines.length - 1) / 2) });
      text.textContent = line;
      group.append(text);
    });
    group.addEventListener("click", () => this.tapped(zone));
    group.addEventListener("keydown", (event) => {
      if (event.key !== "Enter" && event.key !== " ") return;
      event.preventDefault();
      this.tapped(zone);
    });
    return group;
  }

  bar(width, top) {
    const group = draw("g", { "aria-hidden": "true" });
    const left = 90;
    const long = Math.min(width - 180, 420);
    for (let step = 0; step < 40; step += 1) {
      group.append(draw("rect", { x: left + (step * long) / 40, y: top + 4, width: long / 40 + 0.6, height: 14,
        fill: colour(LOW + ((step + 0.5) * (HIGH - LOW)) / 40) }));
    }
    for (const [anchor, at, words] of [["end", left - 8, LOW + " °C"], ["start", left + long + 8, HIGH + " °C"]]) {
      const text = draw("text", { x: at, y: top + 18, "text-anchor": anchor, class: "map-head" });
      text.textContent = words;
      group.append(text);
    }
    return group;
  }
}
