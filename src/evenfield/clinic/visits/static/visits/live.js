// The live page: asks the server every second, shows what is so, and says so when the server is silent.
import { Curve } from "./curve.js";
import { BodyMap } from "./map.js";
import { Outbox } from "./outbox.js";
import { Sheets, element } from "./sheets.js";

const page = document.getElementById("live");
const at = (name) => document.getElementById("live-" + name);
const { visit, entries: address, now: heart, startMs, serverMs, account } = page.dataset;
const start = Number(startMs);
const EVERY = 1000;
const STALE = 3000;
const KEYS = { p: "power", t: "tuning", k: "skin", c: "comfort", h: "hot", m: "moved", b: "field", l: "looked", n: "note",
  x: "stop", d: "done", z: "later", w: "why" };

const told = { last: 0, have: "", prompts: [], coming: [], state: {}, estimate: null, words: "", entries: new Map(), plan: null };
let offset = Number(serverMs) - Date.now();
let bestTrip = Infinity;
let heard = performance.now();
let late = true;
let front = "";
let whyOpen = false;
let announced = "";
let undoable = null;

const setting = (name) => localStorage.getItem("evenfield." + name) === "on";
const keep = (name, on) => localStorage.setItem("evenfield." + name, on ? "on" : "off");
const clock = (seconds) => {
  const whole = Math.max(Math.floor(seconds), 0);
  return Math.floor(whole / 60) + ":" + String(whole % 60).padStart(2, "0");
};
const nowS = () => (Date.now() + offset - start) / 1000;

const outbox = new Outbox({ visit, address, account: Number(account), changed: () => showOutbox(), kept: () => beat() });
outbox.offset = offset;
const sheets = new Sheets(document.getElementById("live-sheet"), (event) => enter(event));
const map = new BodyMap(at("map"), (zone) => enter({ kind: "hot_spot", zone: zone.label, panel: zone.panel || null }));
const curve = new Curve(at("curve"));

function enter(event) {
  if (!event) return;
  const id = outbox.add(event);
  if (event.kind === "correction" || event.kind === "prompt_answered") return;
  undoable = { id, words: (event.kind === "hot_spot" ? "Hot spot: " + event.zone : event.kind.replaceAll("_", " ")), until: Date.now() + 9000 };
  showUndo();
}

function showUndo() {
  const live = undoable && Date.now() < undoable.until;
  at("undo").hidden = !live;
  if (live) at("undo-words").textContent = undoable.words;
}

const doing = {
  power: () => sheets.power(),
  tuning: () => sheets.tuning(),
  skin: () => sheets.skin(),
  comfort: () => sheets.comfort(),
  hot: () => enter({ kind: "too_hot_all_over" }),
  moved: () => sheets.moved(),
  looked: () => sheets.looked(),
  note: () => sheets.note(),
  gone: () => told.state.spots.forEach((spot) => enter({ kind: "hot_spot_gone", zone: spot.zone, panel: spot.panel })),
  stop: () => enter({ kind: "stopped" }),
  field: () => enter({ kind: told.state.started ? (told.state.field_on ? "paused" : "resumed") : "started" }),
  undo: () => {
    if (undoable) enter({ kind: "correction", of: undoable.id, replacement: null });
    undoable = null;
    showUndo();
  },
  done: () => shownPrompt() && enter({ kind: "prompt_answered", prompt: shownPrompt().id, answer: "done" }),
  later: () => shownPrompt() && sheets.notNow(shownPrompt()),
  why: () => { whyOpen = !whyOpen; showPrompts(); },
  sound: () => { keep("sound", !setting("sound")); showSettings(); if (setting("sound")) tone(); },
  keys: () => { keep("nokeys", !setting("nokeys")); showSettings(); },
};
const ENTRY = { power_set: "power", tuning_shown: "tuning", skin_reading: "skin", comfort: "comfort", sensation: "comfort",
  panel_moved: "moved", skin_looked: "looked", paused: "field", resumed: "field", started: "field", stopped: "stop" };

page.addEventListener("click", (event) => {
  const button = event.target.closest("[data-do]");
  if (button && !button.disabled) doing[button.dataset.do]();
});
document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey || setting("nokeys") || document.querySelector("dialog[open]")) return;
  if (event.target.closest("input, textarea, select")) return;
  const name = KEYS[event.key];
  const buttons = name ? [...page.querySelectorAll('[data-do="' + name + '"]')] : [];
  if (!buttons.some((one) => one.checkVisibility() && !one.disabled)) return;
  event.preventDefault();
  doing[name]();
});

function shownPrompt() {
  return told.prompts.find((prompt) => prompt.id === front) || told.prompts[0];
}

function showPrompts() {
  const prompt = shownPrompt();
  const card = at("prompt");
  card.dataset.urgency = prompt ? prompt.urgency : "none";
  at("prompt-what").textContent = prompt ? prompt.what : told.state.phase === "closed" ? "The visit is over." : "Nothing to do just now.";
  at("prompt-answers").hidden = !prompt;
  const shortcut = prompt && ENTRY[prompt.entry];
  at("prompt-entry").hidden = !shortcut;
  if (shortcut) {
    at("prompt-entry").dataset.do = shortcut;
    at("prompt-entry").textContent = { power: "Enter power", tuning: "Enter tuning", skin: "Enter reading", comfort: "Enter answer",
      moved: "Enter the move", looked: "Enter the look", field: told.state.field_on ? "Pause" : "Field on", stop: "Stop" }[shortcut];
  }
  at("prompt-why").hidden = !(prompt && whyOpen);
  at("why").setAttribute("aria-expanded", String(Boolean(prompt && whyOpen)));
  if (prompt) at("prompt-why").textContent = prompt.why + " Source: " + prompt.source + " (" + prompt.label + ").";
  const others = told.prompts.filter((one) => one !== prompt);
  const more = element("button", { type: "button", class: "quiet", on: () => showMore(others) },
    others.length === 1 ? others[0].what : others.length + " more prompts");
  at("others").replaceChildren(...(others.length ? [element("li", {}, more)] : []));
  const urgent = told.prompts.filter((one) => one.urgency === "now").map((one) => one.id).join(" ");
  if (urgent && urgent !== announced && setting("sound")) tone();
  announced = urgent;
}

// One other prompt comes to the front at once; of several one is chosen.
function showMore(others) {
  const choose = (id) => { front = id; whyOpen = false; document.getElementById("live-sheet").close(); showPrompts(); };
  if (others.length === 1) choose(others[0].id);
  else sheets.open("More prompts", ...others.map((one) => element("button", { type: "button", class: "wide-button",
    on: () => choose(one.id) }, one.what)));
}

function tone() {
  try {
    const context = new AudioContext();
    const one = context.createOscillator();
    const loud = context.createGain();
    loud.gain.value = 0.12;
    one.frequency.value = 660;
    one.connect(loud).connect(context.destination);
    one.start();
    one.stop(context.currentTime + 0.25);
    one.onended = () => context.close();
  } catch {
    // A browser without sound shows the prompt all the same.
  }
}

function showState() {
  const { state } = told;
  const put = (name, words) => { at(name).textContent = words; };
  put("power", state.power_w === null || state.power_w === undefined ? "–" : state.power_w + " W");
  put("tuning", state.tuning === null || state.tuning === undefined ? "–" : state.tuning + " %");
  at("tuning").classList.toggle("low", Boolean(state.tuning_low));
  put("comfort", state.comfort === null || state.comfort === undefined ? "–" : String(state.comfort));
  put("phase", state.phase || "–");
  const field = at("field");
  field.textContent = !state.started ? "Field on" : state.field_on ? "Pause" : "Resume";
  field.disabled = Boolean(state.stopped);
  at("gone").hidden = !(state.spots && state.spots.length);
  at("words").textContent = told.words || (told.estimate ? estimateWords(told.estimate) : "");
  at("doubts").replaceChildren(...(told.estimate ? [...told.estimate.disagreements, ...told.estimate.unused] : []).map((words) =>
    element("li", {}, words)));
}

function estimateWords(estimate) {
  const parts = [];
  const minutes = (one, scale) => (one === null ? "over 15" : Math.round(one * scale * 10) / 10);
  const span = (row, scale = 1) => minutes(row[3], scale) + " to " + minutes(row[4], scale) + " min (90 %)";
  if (estimate.minutes_to_band && estimate.minutes_to_band[0] !== 0) parts.push("Fat reaches the band in " + span(estimate.minutes_to_band));
  if (estimate.pause_left_s) parts.push("A pause may last " + span(estimate.pause_left_s, 1 / 60) + " before fat falls below the band");
  return parts.join(". ") + (parts.length ? "." : "");
}

function showPictures() {
  if (!told.plan) return;
  map.plan = told.plan;
  sheets.plan = told.plan;
  sheets.state = told.state;
  map.show({ estimate: told.estimate && { zones: told.estimate.zones }, spots: told.state.spots || [], readings: told.state.readings || {} });
  const taken = new Map([...told.entries.values()].filter((one) => one.kind === "skin_reading").map((one) => [one.id,
    { at_s: one.at_s, celsius: one.event.celsius }]));
  for (const one of told.entries.values()) {
    if (one.kind !== "correction" || !taken.has(one.of)) continue;
    const instead = one.event.replacement;
    if (instead && instead.kind === "skin_reading") taken.get(one.of).celsius = instead.celsius;
    else taken.delete(one.of);
  }
  curve.show(told.estimate, told.plan, [...taken.values()]);
}

function showEntries() {
  const rows = [...told.entries.values()].sort((one, other) => other.at_s - one.at_s || other.number - one.number);
  at("entries").replaceChildren(...rows.map((one) => {
    const marks = [one.mark, one.after_closing ? "entered after closing" : ""].filter(Boolean).join("; ");
    const may = one.event && one.kind !== "begin";
    return element("li", { "data-id": one.id }, element("span", { class: "when" }, clock(one.at_s || 0)),
      element("span", { class: "what" }, one.words + (marks ? " (" + marks + ")" : "")), element("span", { class: "by" }, one.who),
      ...(may ? [element("button", { type: "button", class: "quiet", "aria-label": "Correct: " + one.words,
        on: () => sheets.correct(one) }, "Correct")] : []));
  }));
  at("count").textContent = String(rows.length);
}

function describe(event) {
  const rest = Object.entries(event).filter(([key, value]) => key !== "kind" && value !== null && typeof value !== "object");
  return event.kind.replaceAll("_", " ") + (rest.length ? ": " + rest.map(([, value]) => value).join(", ") : "");
}

function showOutbox() {
  const { waiting, refused } = outbox;
  const saved = at("saved");
  saved.dataset.waiting = String(waiting.length);
  saved.textContent = waiting.length ? waiting.length + " waiting on this tablet" : "All saved";
  const trouble = waiting.length ? outbox.trouble : "";
  at("trouble").hidden = !trouble && !outbox.unwritten;
  at("trouble-words").textContent = outbox.unwritten
    ? "This tablet cannot write entries down: do not reload before they are saved." : trouble === "signed out"
      ? "You are signed out; the entries wait on this tablet." : trouble;
  at("sign-in").hidden = outbox.trouble !== "signed out";
  at("waiting").replaceChildren(...waiting.map((one) => element("li", {}, describe(one.event))));
  at("waiting-box").hidden = !waiting.length;
  at("refused-box").hidden = !refused.length;
  at("refused").replaceChildren(...refused.map((one) => element("li", { "data-id": one.id },
    element("span", {}, describe(one.event) + " — " + one.why),
    element("button", { type: "button", disabled: Boolean(one.noted), on: () => outbox.keepAsNote(one.id, describe(one.event)) },
      one.noted ? "being kept as a note" : "Keep as a note"))));
}

function showClock() {
  const { state } = told;
  const silent = performance.now() - heard;
  if (silent > STALE !== late) {
    late = silent > STALE;
    page.classList.toggle("stale", late);
  }
  const words = late ? "Stale for " + Math.round(silent / 1000) + " s: what is shown is old" : "Live";
  if (at("pulse").textContent !== words) at("pulse").textContent = words;
  at("clock").textContent = clock(nowS());
  if (state.session_s) {
    const running = state.field_on && !late ? nowS() - told.at : 0;
    at("heated").textContent = clock(state.heated_s + Math.max(running, 0)) + " of " + clock(state.session_s);
  }
  const next = told.coming[0];
  at("coming").textContent = next ? "Next in " + clock(next.due_s - nowS()) + ": " + next.what : "";
  showUndo();
}

function showSettings() {
  at("sound").setAttribute("aria-pressed", String(setting("sound")));
  at("sound").textContent = setting("sound") ? "Sound on" : "Sound off";
  at("keys").setAttribute("aria-pressed", String(!setting("nokeys")));
  at("keys").textContent = setting("nokeys") ? "Keys off" : "Keys on";
}

let asking = false;
async function beat() {
  if (asking) return;
  asking = true;
  const sent = Date.now();
  try {
    const answer = await fetch(heart + "?after=" + told.last + "&have=" + told.have, { credentials: "same-origin",
      headers: { "X-Requested-With": "evenfield" }, signal: AbortSignal.timeout(2500) });
    if (answer.status === 423) document.dispatchEvent(new Event("evenfield:locked"));
    if (answer.status === 401) { outbox.trouble = "signed out"; showOutbox(); at("trouble").hidden = false; at("sign-in").hidden = false; }
    if (answer.ok) take(await answer.json(), sent);
  } catch {
    // Silence is shown by the clock.
  }
  asking = false;
}

function take(answer, sent) {
  const came = Date.now();
  heard = performance.now();
  const trip = came - sent;
  if (trip <= bestTrip * 1.5 || Math.abs(answer.server_ms - (sent + came) / 2 - offset) > 2000) {
    bestTrip = Math.min(trip, bestTrip);
    offset = answer.server_ms - (sent + came) / 2;
    outbox.offset = offset;
  }
  told.at = answer.now_s;
  Object.assign(told, { state: answer.state, prompts: answer.prompts, coming: answer.coming, last: answer.last, words: answer.estimate_words });
  if (answer.plan) told.plan = answer.plan;
  if (answer.estimate) {
    told.estimate = answer.estimate;
    told.have = answer.estimate_at_s;
  }
  for (const one of answer.entries) told.entries.set(one.id, one);
  if (answer.entries.length) showEntries();
  if (!answer.running) location.reload();
  showState();
  showPrompts();
  showPictures();
  showClock();
  outbox.flush();
}

document.addEventListener("evenfield:unlocked", beat);
addEventListener("beforeunload", (event) => { if (outbox.unwritten) event.preventDefault(); });
showSettings();
showOutbox();
showClock();
beat();
setInterval(beat, EVERY);
setInterval(showClock, 250);
if (navigator.wakeLock) navigator.wakeLock.request("screen").catch(() => {});
