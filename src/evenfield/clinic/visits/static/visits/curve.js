// The curve so far and ahead: fat and skin of the whole footprint, value with its middle half and nine tenths.
import { HIGH, LOW, draw } from "./palette.js";

const LEFT = 44;
const BOTTOM = 30;
const TOP = 24;
const LINES = { fat_mean_c: ["Fat", "#D55E00"], skin_mean_c: ["Skin", "#0072B2"] };

export class Curve {
  constructor(place) {
    this.place = place;
    new ResizeObserver(() => this.show(this.estimate, this.plan, this.readings, this.none, this.aged)).observe(place);
  }

  // `none`: why there is no estimate, in words; `aged`: it is too old to be shown as present.
  show(estimate, plan, readings = [], none = "", aged = false) {
    Object.assign(this, { estimate, plan, readings, none, aged });
    const width = Math.floor(this.place.clientWidth);
    const high = Math.max(Math.floor(this.place.clientHeight), 150);
    const told = JSON.stringify([estimate && estimate.at_s, width, high, readings.length, none, aged]);
    if (width < 100 || told === this.told) return;
    this.told = told;
    this.place.replaceChildren(estimate ? this.picture(estimate, width, high) : none || "No estimate yet.");
  }

  picture(estimate, width, high) {
    const { so_far: past, ahead } = estimate;
    const end = Math.max(...ahead.minutes);
    const all = [past, ahead].flatMap((one) => Object.keys(LINES).flatMap((name) => one[name].flatMap((row) => [row[3], row[4]])));
    const read = this.readings.map(({ celsius }) => Math.min(Math.max(celsius, LOW), HIGH));
    const low = Math.floor(Math.min(34, ...all, ...read));
    const top = Math.ceil(Math.max(42, ...all, ...read));
    const x = (minute) => LEFT + (minute / end) * (width - LEFT - 8);
    const y = (celsius) => high - BOTTOM - ((celsius - low) / (top - low)) * (high - BOTTOM - TOP);
    const words = this.inWords(estimate);
    const svg = draw("svg", { width, height: high, role: "img", "aria-label": words });
    svg.append(draw("title", {}, words));
    if (this.plan && this.plan.band_c) {
      const [from, to] = this.plan.band_c;
      svg.append(draw("rect", { x: LEFT, y: y(Math.min(to, top)), width: width - LEFT - 8,
        height: Math.max(y(from) - y(Math.min(to, top)), 0), class: "band" }));
    }
    for (let celsius = Math.ceil(low / 5) * 5; celsius <= top; celsius += 5) {
      svg.append(draw("line", { x1: LEFT, x2: width - 8, y1: y(celsius), y2: y(celsius), class: "grid" }));
      svg.append(this.label(LEFT - 6, y(celsius) + 6, celsius, "end"));
    }
    for (const part of [past, ahead]) {
      for (const [name, [, hue]] of Object.entries(LINES)) {
        for (const [from, to, strength] of [[3, 4, 0.16], [1, 2, 0.28]]) {
          const upper = part.minutes.map((minute, at) => x(minute) + "," + y(part[name][at][to]));
          const lower = part.minutes.map((minute, at) => x(minute) + "," + y(part[name][at][from])).reverse();
          svg.append(draw("polygon", { points: [...upper, ...lower].join(" "), fill: hue, "fill-opacity": strength }));
        }
        const points = part.minutes.map((minute, at) => x(minute) + "," + y(part[name][at][0])).join(" ");
        svg.append(draw("polyline", { points, fill: "none", stroke: hue, "stroke-width": 3,
          ...(part === ahead ? { "stroke-dasharray": "7 6" } : {}) }));
      }
    }
    for (const { at_s, celsius } of this.readings) {
      const [across, level] = [x(at_s / 60), y(Math.min(Math.max(celsius, low), top))];
      svg.append(draw("circle", { cx: across, cy: level, r: 5, class: "reading" }));
      if (celsius >= low && celsius <= top) continue;
      const far = this.label(across + 9, level + (celsius < low ? -2 : 16), (celsius < low ? "↓ " : "↑ ") + celsius.toFixed(1) + " read", "start");
      far.classList.add("outside");
      svg.append(far);
    }
    const now = x(estimate.at_s / 60);
    svg.append(draw("line", { x1: now, x2: now, y1: TOP - 4, y2: high - BOTTOM, class: "now" }));
    Object.values(LINES).forEach(([name], place) => {
      const text = this.label(LEFT + 4 + 60 * place, 16, name, "start");
      text.classList.add("of-" + name.toLowerCase());
      svg.append(text);
    });
    svg.append(this.label(LEFT, high - 6, "0", "middle"), this.label(width - 8, high - 6, Math.round(end) + " min", "end"));
    if (now > LEFT + 40 && now < width - 110) svg.append(this.label(now, high - 6, this.aged ? "old" : "now", "middle"));
    svg.append(this.label(width - 8, 16, "°C · 50, 90 %", "end"));
    return svg;
  }

  label(x, y, words, anchor) {
    const text = draw("text", { x, y, "text-anchor": anchor, class: "map-head" });
    text.textContent = words;
    return text;
  }

  inWords(estimate) {
    const last = (name) => estimate.so_far[name][estimate.so_far[name].length - 1];
    const one = (words, row) => words + " " + row[0].toFixed(1) + " °C, 90 % " + row[3].toFixed(1) + " to " + row[4].toFixed(1);
    return (this.aged ? "Old estimate: " : "Estimate: ") + one("fat", last("fat_mean_c")) + "; " + one("skin", last("skin_mean_c"));
  }
}
