// What an estimate says: in sentences, in a line of values, and zone by zone.
import { element } from "./sheets.js";

const MORE = "more than 15";
const minutes = (one, scale) => (one === null ? MORE : String(Math.round(one * scale * 10) / 10));
const span = (row, scale = 1) => {
  const [low, high] = [minutes(row[3], scale), minutes(row[4], scale)];
  return low === high ? low : low + " to " + high;
};
const short = (row, unit, scale = 1) => span(row, scale).replace(MORE, "> 15").replace(" to ", "–") + " " + unit;
const shortly = (value) => (value === null ? "–" : value < 0.05 ? value < 0.005 ? "0" : value.toFixed(2) : value < 10 ? value.toFixed(1) : value.toFixed(0));
const most = (zones, name) => zones.reduce((one, other) => (other[name][0] > one[name][0] ? other : one))[name];

export function estimateWords({ minutes_to_band: left, pause_left_s: pause, zones }) {
  const parts = [];
  if (left && left[0] !== 0) {
    parts.push(left[3] === null ? "Fat does not reach the band within 15 min" : "Fat reaches the band in " + span(left) + " min (90 %)");
  }
  if (pause) parts.push("A pause may last " + span(pause, 1 / 60) + " min (90 %) before fat falls below the band");
  if (zones.length) {
    const dose = most(zones, "cem43_fat");
    parts.push("Longest in the band so far " + span(most(zones, "minutes_in_band")) + " min, most CEM43 in fat " + shortly(dose[3]) + " to " + shortly(dose[4]) + " min");
  }
  return parts.join(". ") + (parts.length ? "." : "");
}

// By the name of the place that shows it; a dash where there is no estimate.
export function estimateValues(estimate) {
  const zones = estimate ? estimate.zones : [];
  const left = estimate && estimate.minutes_to_band;
  const dose = zones.length ? most(zones, "cem43_fat") : null;
  const doubted = zones.filter((zone) => zone.disagrees).length;
  return {
    "in-band": zones.length ? short(most(zones, "minutes_in_band"), "min") : "–",
    "to-band": !left ? "–" : left[0] === 0 ? "reached" : short(left, "min"),
    "pause-left": estimate && estimate.pause_left_s ? short(estimate.pause_left_s, "min", 1 / 60) : "–",
    dose: dose ? shortly(dose[3]) + "–" + shortly(dose[4]) + " min" : "–",
    doubted: estimate ? doubted + (doubted === 1 ? " zone" : " zones") : "–",
  };
}

const COLUMNS = [["Skin, mean °C", "skin_mean_c"], ["Skin, hottest °C", "skin_hottest_c"], ["Fat, mean °C", "fat_mean_c"],
  ["Fat, hottest °C", "fat_hottest_c"], ["In the band, min", "minutes_in_band"], ["CEM43 skin, min", "cem43_skin"],
  ["CEM43 fat, min", "cem43_fat"], ["Until the band, min", "minutes_to_band"]];

// Head and body of a table of zones, each value with its 90 % range.
export function zoneTable(estimate) {
  const one = (row, name) => row.map((value) => (value === null ? ">15" : name.endsWith("_c") ? value.toFixed(1) : shortly(value)));
  const cell = (zone, [label, name]) => {
    const [value, , , low, high] = one(zone[name], name);
    return element("td", { "data-label": label }, value + " (" + low + "–" + high + ")");
  };
  return [
    element("thead", {}, element("tr", {}, element("th", {}, "Zone"), ...COLUMNS.map(([label]) => element("th", {}, label)))),
    element("tbody", {}, ...estimate.zones.map((zone) => element("tr", {}, element("th", { scope: "row" }, zone.zone),
      ...COLUMNS.map((column) => cell(zone, column)))))];
}
