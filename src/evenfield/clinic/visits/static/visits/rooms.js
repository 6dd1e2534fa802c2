// The overview of all rooms, asked for every second; silence is said after three.
import { element } from "./sheets.js";

const list = document.getElementById("rooms");
const pulse = document.getElementById("rooms-pulse");
let heard = performance.now();

const clock = (seconds) => Math.floor(seconds / 60) + ":" + String(Math.floor(seconds % 60)).padStart(2, "0");

function line(one) {
  const numbers = [one.region, one.phase, one.power_w + " W"];
  if (one.tuning !== null) numbers.push("tuning " + one.tuning + " %");
  if (one.skin_hottest_c !== null) numbers.push("hottest skin, estimated " + one.skin_hottest_c.toFixed(1) + " °C");
  return element("li", { class: one.urgency === "now" ? "pressing" : null }, element("a", { href: one.address },
    element("strong", {}, one.room + ": " + one.person + " · " + clock(one.now_s)), element("span", {}, numbers.join(" · ")),
    element("span", { class: "ask" }, one.prompt)));
}

async function beat() {
  try {
    const answer = await fetch(list.dataset.now, { credentials: "same-origin", headers: { "X-Requested-With": "evenfield" },
      signal: AbortSignal.timeout(2500) });
    if (answer.status === 423) document.dispatchEvent(new Event("evenfield:locked"));
    if (!answer.ok) return;
    const { visits } = await answer.json();
    heard = performance.now();
    const focused = document.activeElement && list.contains(document.activeElement) ? document.activeElement.getAttribute("href") : "";
    list.replaceChildren(...(visits.length ? visits.map(line) : [element("li", { class: "none" }, "No visit is running.")]));
    if (focused) list.querySelectorAll("a").forEach((link) => link.getAttribute("href") === focused && link.focus());
  } catch {
    // Said below.
  }
}

setInterval(beat, 1000);
setInterval(() => {
  const silent = performance.now() - heard;
  pulse.hidden = silent <= 3000;
  pulse.textContent = "Stale for " + Math.round(silent / 1000) + " s: what is shown is old";
}, 500);
beat();
