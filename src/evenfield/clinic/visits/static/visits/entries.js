// Entries on the tablet in words.

// Everything an entry says, for what waits or was refused.
export function describe(event) {
  const rest = Object.entries(event).filter(([key, value]) => key !== "kind" && value !== null && typeof value !== "object");
  return event.kind.replaceAll("_", " ") + (rest.length ? ": " + rest.map(([, value]) => value).join(", ") : "");
}

const where = (event) => event.zone || event.panel || "place unknown";
const SHORT = {
  power_set: (event) => "power " + event.watts + " W",
  tuning_shown: (event) => "tuning " + event.percent + " %",
  skin_reading: (event) => "skin " + event.celsius + " °C, " + event.zone,
  comfort: (event) => "comfort " + event.score,
  sensation: (event) => "feels: " + event.feeling.replaceAll("_", " "),
  hot_spot: (event) => "hot spot: " + where(event),
  hot_spot_gone: (event) => "gone: " + where(event),
  panel_moved: (event) => event.panel + " " + Math.abs(event.by_mm) + " mm " + (event.by_mm < 0 ? "closer" : "away"),
  skin_looked: (event) => "redness " + event.redness + (event.broken ? ", broken" : ""),
  noted: () => "note",
};

// What one tap entered, with its values, in a few words.
export const briefly = (events) => events.map((event) => (SHORT[event.kind] || describe)(event)).join("; ");
