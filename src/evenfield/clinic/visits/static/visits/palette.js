// Temperature in viridis (perceptually uniform, the same for all common kinds of colour vision), fixed scale.
export const LOW = 28;
export const HIGH = 48;
const STOPS = ["#440154", "#482475", "#414487", "#355f8d", "#2a788e", "#21918c", "#22a884", "#44bf70", "#7ad151",
  "#bddf26", "#fde725"].map((text) => [1, 3, 5].map((at) => parseInt(text.slice(at, at + 2), 16)));

export function colour(celsius) {
  const place = Math.min(Math.max((celsius - LOW) / (HIGH - LOW), 0), 1) * (STOPS.length - 1);
  const first = Math.min(Math.floor(place), STOPS.length - 2);
  const mixed = STOPS[first].map((low, at) => Math.round(low + (place - first) * (STOPS[first + 1][at] - low)));
  return "rgb(" + mixed.join(" ") + ")";
}

// Black or white, whichever stands out more on the colour (WCAG relative luminance).
export function ink(celsius) {
  const [r, g, b] = colour(celsius).match(/\d+/g).map((value) => {
    const share = value / 255;
    return share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4;
  });
  const light = 0.2126 * r + 0.7152 * g + 0.0722 * b;
  return 1.05 / (light + 0.05) > (light + 0.05) / 0.05 ? "#ffffff" : "#000000";
}

const SVG = "http://www.w3.org/2000/svg";
export function draw(name, attributes = {}, ...children) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...children);
  return made;
}
