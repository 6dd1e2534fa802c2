// The overview of all rooms, asked for every second; silence is said after three. A room's card stays the same
// one, so that a tap finds it, and cards change places only while no finger is down.
import { element } from "./sheets.js";

const list = document.getElementById("rooms");
const pulse = document.getElementById("rooms-pulse");
let heard = performance.now();
let held = false;
let owed = null;

const clock = (seconds) => Math.floor(seconds / 60) + ":" + String(Math.floor(seconds % 60)).padStart(2, "0");

function card() {
  const part = (name) => element("span", { class: name });
  return element("li", {}, element("a", {}, element("strong"), part("room-now"), part("room-clock"), part("room-power"),
    part("room-rest"), part("ask")));
}

function fill(place, one) {
  const put = (name, words) => {
    const there = place.querySelector(name);
    if (there.textContent !== words) there.textContent = words;
  };
  const rest = [one.region, one.phase];
  if (one.tuning !== null) rest.push("tuning " + one.tuning + " %");
  if (one.skin_hottest_c !== null) rest.push("hottest skin, estimated " + one.skin_hottest_c.toFixed(1) + " °C");
  place.dataset.visit = one.address;
  place.classList.toggle("pressing", one.urgency === "now");
  place.querySelector("a").setAttribute("href", one.address);
  put("strong", one.room + ": " + one.person);
  put(".room-now", one.urgency === "now" ? "Now" : "");
  put(".room-clock", clock(one.now_s));
  put(".room-power", one.power_words);
  put(".room-rest", rest.join(" · "));
  put(".ask", one.prompt);
}

function show(visits) {
  const there = new Map([...list.children].map((place) => [place.dataset.visit, place]));
  const cards = visits.map((one) => {
    const place = there.get(one.address) || card();
    fill(place, one);
    return place;
  });
  const wanted = cards.length ? cards : [there.get("none") || element("li", { class: "none", "data-visit": "none" }, "No visit is running.")];
  for (const place of [...list.children]) if (!wanted.includes(place)) place.remove();
  wanted.forEach((place, number) => {
    if (list.children[number] !== place) list.insertBefore(place, list.children[number] || null);
  });
}

async function beat() {
  try {
    const answer = await fetch(list.dataset.now, { credentials: "same-origin", headers: { "X-Requested-With": "evenfield" },
      signal: AbortSignal.timeout(2500) });
    if (answer.status === 423) document.dispatchEvent(new Event("evenfield:locked"));
    if (!answer.ok) return;
    const { visits } = await answer.json();
    heard = performance.now();
    if (held) owed = visits;
    else show(visits);
  } catch {
    // Said below.
  }
}

addEventListener("pointerdown", () => { held = true; }, true);
for (const name of ["pointerup", "pointercancel"]) {
  addEventListener(name, () => setTimeout(() => {
    held = false;
    if (owed) show(owed);
    owed = null;
  }), true);
}

setInterval(beat, 1000);
setInterval(() => {
  const silent = performance.now() - heard;
  pulse.hidden = silent <= 3000;
  pulse.textContent = "Stale for " + Math.round(silent / 1000) + " s: what is shown is old";
}, 500);
beat();
