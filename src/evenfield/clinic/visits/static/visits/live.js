// The live page: asks the server every second, shows what is so, and says so when the server is silent.
import { Curve } from "./curve.js";
import { briefly, describe } from "./entries.js";
import { estimateValues, estimateWords, zoneTable } from "./estimate.js";
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
let aged = false; // the estimate is too old to be shown as present
const answered = new Map(); // prompts answered here: by which entries, in which words
let keptLately = []; // kept by the server, not yet told by a heartbeat
let held = false; // a finger is down: nothing may move under it
let owed = false;
let fieldTapped = 0;

const setting = (name) => localStorage.getItem("evenfield." + name) === "on";
const keep = (name, on) => localStorage.setItem("evenfield." + name, on ? "on" : "off");
const clock = (seconds) => {
  const whole = Math.max(Math.floor(seconds), 0);
  return Math.floor(whole / 60) + ":" + String(whole % 60).padStart(2, "0");
};
const nowS = () => (Date.now() + offset - start) / 1000;

const outbox = new Outbox({ visit, address, account: Number(account), changed: () => { showOutbox(); showState(); if (held) owed = true; else show(); },
  kept: (entries) => { keptLately.push(...entries); beat(); } });
outbox.offset = offset;
const sheets = new Sheets(document.getElementById("live-sheet"), (...events) => enter(...events));
const map = new BodyMap(at("map"), (zone) => enter({ kind: "hot_spot", zone: zone.label, panel: zone.panel || null }));
const curve = new Curve(at("curve"));

// What one tap enters is one thing to undo, though it be several entries. Returns their ids.
function enter(...events) {
  const entered = events.filter(Boolean).map((event) => ({ event, id: outbox.add(event) }));
  const facts = entered.filter(({ event }) => event.kind !== "correction" && event.kind !== "prompt_answered");
  if (facts.length) {
    undoable = { ids: facts.map(({ id }) => id), words: briefly(facts.map(({ event }) => event)), until: Date.now() + 9000 };
    showUndo();
  }
  for (const { event, id } of entered) {
    if (event.kind === "prompt_answered") markAnswered(event.prompt, event.answer === "done" ? "done" : "not now", [id]);
  }
  return entered.map(({ id }) => id);
}

function markAnswered(prompt, words, ids) {
  answered.set(prompt, { words, ids });
  showPrompts();
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
  gone: () => enter(...present().spots.map(({ zone, panel }) => ({ kind: "hot_spot_gone", zone, panel }))),
  stop: () => enter({ kind: "stopped" }),
  field: () => {
    const state = present();
    if (state.stopped || Date.now() - fieldTapped < 800) return []; // a double tap is one
    fieldTapped = Date.now();
    return enter({ kind: state.started ? (state.field_on ? "paused" : "resumed") : "started" });
  },
  undo: () => {
    if (undoable) enter(...undoable.ids.map((of) => ({ kind: "correction", of, replacement: null })));
    undoable = null;
    showUndo();
  },
  done: () => shownPrompt() && enter({ kind: "prompt_answered", prompt: shownPrompt().id, answer: "done" }),
  later: () => shownPrompt() && sheets.notNow(shownPrompt()),
  why: () => { whyOpen = !whyOpen; showPrompts(); },
  sound: () => { keep("sound", !setting("sound")); showSettings(); if (setting("sound")) tone(); },
  keys: () => { keep("nokeys", !setting("nokeys")); showSettings(); },
};

// Entries on their way to the server, or not yet told back by it, that were not taken back there.
function away() {
  const all = [...keptLately, ...outbox.waiting];
  const back = new Set(all.filter((one) => one.event.kind === "correction").map((one) => one.event.of));
  return all.filter((one) => !back.has(one.id));
}

// The state as these entries make it: after a pause the button must not say "Pause" again.
function present() {
  const state = { ...told.state, spots: [...(told.state.spots || [])] };
  for (const { event } of away()) {
    if (event.kind === "power_set") state.power_w = event.watts;
    else if (event.kind === "tuning_shown") Object.assign(state, { tuning: event.percent, tuning_low: event.percent < state.tuning_least });
    else if (event.kind === "comfort") state.comfort = event.score;
    else if (event.kind === "hot_spot") {
      state.spots.push({ panel: event.panel, zone: event.zone });
      state.phase = "hot spot entered";
    } else if (event.kind === "too_hot_all_over") state.phase = "too hot entered";
    else if (event.kind === "hot_spot_gone") state.spots = state.spots.filter((spot) => event.zone && spot.zone !== event.zone);
    else if (state.stopped) continue;
    else if (event.kind === "started" || event.kind === "resumed") Object.assign(state, { started: true, field_on: true, paused: false, phase: "field on" });
    else if (event.kind === "paused") Object.assign(state, { field_on: false, paused: true, phase: "paused" });
    else if (event.kind === "stopped") Object.assign(state, { field_on: false, stopped: true, phase: "stopped" });
  }
  return state;
}

page.addEventListener("click", (event) => {
  const button = event.target.closest("[data-do]");
  if (button && !button.disabled) doing[button.dataset.do]();
});
document.addEventListener("keydown", (event) => {
  if (event.repeat || event.ctrlKey || event.altKey || event.metaKey || setting("nokeys") || document.querySelector("dialog[open]")) return;
  const typed = event.target.closest("input, textarea, select");
  if (typed && typed.checkVisibility()) return; // the field of a sheet just closed may still hold the focus
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
  if (told.at === undefined) return;
  const prompt = shownPrompt();
  const card = at("prompt");
  const what = prompt ? prompt.what : told.state.to_close ? "Field off, skin looked at: close the visit." : "Nothing to do just now.";
  card.dataset.urgency = prompt && !late ? prompt.urgency : "none";
  at("prompt-what").textContent = late ? "No new advice now. Watch and ask the person." : what;
  at("prompt-old").hidden = !late;
  at("prompt-old").textContent = late ? "Old prompt, told at " + clock(told.at) + ": " + what : "";
  at("close").classList.toggle("main", Boolean(told.state.to_close && !prompt));
  const long = at("prompt-what").textContent.length;
  at("prompt-what").classList.toggle("short", long < 44);
  at("prompt-what").classList.toggle("long", long > 66);
  at("prompt-answers").hidden = !prompt;
  showAnswers(prompt);
  at("prompt-why").hidden = !(prompt && whyOpen);
  at("why").setAttribute("aria-expanded", String(Boolean(prompt && whyOpen)));
  if (prompt) at("prompt-why").textContent = prompt.why + " Source: " + prompt.source + " (" + prompt.label + ").";
  const others = told.prompts.filter((one) => one !== prompt);
  const more = !others.length ? "" : others.length === 1 ? "Also: " + others[0].what : others.length + " more prompts";
  if (at("others").textContent !== more) {
    at("others").replaceChildren(...(more ? [element("li", {}, element("button", { type: "button", class: "quiet",
      on: () => showMore(told.prompts.filter((one) => one !== shownPrompt())) }, more))] : []));
  }
  const urgent = told.prompts.filter((one) => one.urgency === "now").map((one) => one.id).join(" ");
  if (urgent && urgent !== announced && setting("sound")) tone();
  announced = urgent;
}

// What answers the prompt by an entry: words and what they enter, the likeliest first.
function answersTo(prompt) {
  const state = present();
  const here = { zone: null, panel: null, side: null, ...prompt.place };
  const watts = (value, words) => [value + " W " + words, () => enter({ kind: "power_set", watts: value })];
  const other = (words) => [words, () => sheets.power()];
  switch (prompt.entry) {
    case "power_set": {
      const less = Math.max((state.power_w || 0) - (state.raise_step_w || 10), 0);
      if (prompt.suggested !== null) return [watts(prompt.suggested, "is set"), other("Other")];
      if (!state.power_w || prompt.rule === "power_above_most") return [other("Enter power")];
      const second = prompt.rule === "all_over_act" ? ["Enter the move", doing.moved] : other("Other");
      return [watts(less, "is set"), second];
    }
    case "hot_spot_gone":
      return [["It has gone", () => enter({ kind: "hot_spot_gone", ...here })], ["Still there", () => enter({ kind: "hot_spot", ...here })]];
    case "hot_spot":
      return [["Hot all over", () => enter({ kind: "too_hot_all_over" })]];
    case "skin_reading":
      return [["Enter reading", () => sheets.skin(null, here.zone || undefined)]];
    case "panel_moved":
      return [["Enter the move", () => sheets.moved(prompt.move)]];
    case "resumed":
      return [["Resumed", doing.field]];
    case "paused":
      return [["Paused", doing.field]];
    default: {
      const sheet = { tuning_shown: ["Enter tuning", "tuning"], comfort: ["Enter answer", "comfort"], skin_looked: ["Enter the look", "looked"], stopped: ["Stopped", "stop"] }[prompt.entry];
      return sheet ? [[sheet[0], doing[sheet[1]]]] : [];
    }
  }
}

function showAnswers(prompt) {
  const given = prompt && answered.get(prompt.id);
  const entered = given && away().some((one) => given.ids.includes(one.id));
  const found = prompt && !entered ? answersTo(prompt) : [];
  const place = at("prompt-entries");
  at("later").hidden = Boolean(entered);
  at("done").classList.toggle("main", !found.length);
  at("done").hidden = Boolean(entered || (prompt && prompt.entry === "hot_spot_gone")); // "done" would not say which
  const shownNow = prompt ? prompt.id + JSON.stringify(prompt.move || "") + (entered ? "entered" : "") + found.map(([words]) => words).join() : "";
  if (place.dataset.told === shownNow) return;
  place.dataset.told = shownNow;
  const tapped = (words, on) => () => { const ids = on(); if (ids && ids.length) markAnswered(prompt.id, words, ids); };
  place.replaceChildren(...found.map(([words, on], number) => element("button", { type: "button", class: number ? null : "main",
    on: tapped(words, on) }, words)), ...(entered ? [element("span", { class: "entered" }, "Entered: " + given.words)] : []));
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
  const state = present();
  const put = (name, words) => { at(name).textContent = words; };
  put("power", state.stopped ? "off" : state.power_w === null || state.power_w === undefined ? "–" : state.power_w + " W");
  put("tuning", state.tuning === null || state.tuning === undefined ? "–" : state.tuning + " %");
  at("tuning").classList.toggle("low", Boolean(state.tuning_low));
  put("comfort", state.comfort === null || state.comfort === undefined ? "–" : String(state.comfort));
  put("phase", state.phase || "–");
  const field = at("field");
  field.textContent = state.stopped ? "Field off" : !state.started ? "Field on" : state.field_on ? "Pause" : "Resume";
  field.disabled = Boolean(state.stopped);
  at("gone").hidden = !(state.spots && state.spots.length);
  sheets.state = state;
  at("words").textContent = told.words || (told.estimate && !aged ? estimateWords(told.estimate) : "");
  showValues();
  at("doubts").replaceChildren(...(told.estimate ? [...told.estimate.disagreements, ...told.estimate.unused] : []).map((words) =>
    element("li", {}, words)));
}

// The same in one line of values, in sight without scrolling.
function showValues() {
  const values = estimateValues(told.estimate);
  for (const [name, words] of Object.entries(values)) at(name).textContent = words;
  at("doubted").classList.toggle("low", Boolean(told.estimate && told.estimate.zones.some((zone) => zone.disagrees)));
}

// How old the estimate is; from the age on at which the rules leave it out it is not shown as present.
function showAge() {
  const age = told.estimate ? Math.max(nowS() - told.estimate.at_s, 0) : 0;
  const tooOld = Boolean(told.estimate) && age >= told.state.estimate_stale_s;
  at("age").textContent = told.estimate ? Math.round(age) + " s old" : "–";
  at("aged").textContent = "Estimate " + Math.round(age) + " s old: not shown as present. What it warned of stands; no prompt adds heat by it.";
  if (tooOld === aged) return;
  aged = tooOld;
  page.classList.toggle("aged", aged);
  at("aged").hidden = !aged;
  at("values").hidden = aged;
  if (held) owed = true;
  else show();
}

function showZones() {
  if (at("zones").closest("details").open && told.estimate) at("zones").replaceChildren(...zoneTable(told.estimate));
}

function showPictures() {
  if (!told.plan) return;
  map.plan = told.plan;
  sheets.plan = told.plan;
  map.show({ estimate: told.estimate && { zones: told.estimate.zones }, spots: present().spots, readings: told.state.readings || {}, aged });
  const taken = new Map([...told.entries.values()].filter((one) => one.kind === "skin_reading").map((one) => [one.id,
    { at_s: one.at_s, celsius: one.event.celsius }]));
  for (const one of told.entries.values()) {
    if (one.kind !== "correction" || !taken.has(one.of)) continue;
    const instead = one.event.replacement;
    if (instead && instead.kind === "skin_reading") taken.get(one.of).celsius = instead.celsius;
    else taken.delete(one.of);
  }
  curve.show(told.estimate, told.plan, [...taken.values()], told.words, aged);
}

function showEntries() {
  const rows = [...told.entries.values()].sort((one, other) => other.at_s - one.at_s || other.number - one.number);
  const corrected = new Map();
  for (const one of [...told.entries.values()].sort((one, other) => one.number - other.number)) {
    if (one.kind === "correction") corrected.set(one.of, one.event.replacement ? "corrected" : "taken back");
  }
  at("entries").replaceChildren(...rows.map((one) => {
    const marks = [corrected.get(one.id), one.mark, one.after_closing ? "entered after closing" : ""].filter(Boolean).join("; ");
    const may = one.event && one.kind !== "begin";
    return element("li", { "data-id": one.id, class: corrected.has(one.id) ? "corrected" : null }, element("span", { class: "when" }, clock(one.at_s || 0)),
      element("span", { class: "what" }, one.words + (marks ? " (" + marks + ")" : "")), element("span", { class: "by" }, one.who),
      ...(may ? [element("button", { type: "button", class: "quiet", "aria-label": "Correct: " + one.words,
        on: () => sheets.correct(one) }, "Correct")] : []));
  }));
  at("count").textContent = String(rows.length);
}

function showOutbox() {
  const { waiting, refused } = outbox;
  const saved = at("saved");
  saved.dataset.waiting = String(waiting.length);
  saved.textContent = waiting.length ? waiting.length + " waiting" : "All saved";
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
    if (held) owed = true;
    else showPrompts();
  }
  const words = late ? "Stale" : "Live";
  if (at("pulse").textContent !== words) at("pulse").textContent = words;
  at("stale").hidden = !late;
  at("stale").textContent = "Stale for " + Math.round(silent / 1000) + " s: what is shown is old";
  at("clock").textContent = clock(nowS());
  if (state.session_s) {
    const running = state.field_on && !late ? nowS() - told.at : 0;
    at("heated").textContent = clock(state.heated_s + Math.max(running, 0)) + " of " + clock(state.session_s);
  }
  const next = told.coming[0];
  const prompt = shownPrompt();
  const left = prompt && prompt.due_s > nowS() + 0.5 ? clock(prompt.due_s - nowS()) + " left. " : "";
  at("coming").textContent = left + (next ? "Next in " + clock(next.due_s - nowS()) + ": " + next.what : "");
  showUndo();
  showAge();
}

function showSettings() {
  at("sound").setAttribute("aria-pressed", String(setting("sound")));
  at("sound").textContent = setting("sound") ? "Sound on" : "Sound off";
  at("keys").setAttribute("aria-pressed", String(!setting("nokeys")));
  at("keys").textContent = setting("nokeys") ? "Keys off" : "Keys on";
}

let asking = false;
let askAgain = false;
async function beat() {
  askAgain = asking;
  if (asking) return;
  asking = true;
  const sent = Date.now();
  try {
    const answer = await fetch(heart + "?after=" + told.last + "&have=" + told.have, { credentials: "same-origin",
      headers: { "X-Requested-With": "evenfield" }, signal: AbortSignal.timeout(2500) });
    if (answer.status === 423) document.dispatchEvent(new Event("evenfield:locked"));
    if (answer.status === 401) { outbox.trouble = "signed out"; showOutbox(); at("trouble").hidden = false; at("sign-in").hidden = false; }
    if (answer.status === 404) goOn(); // its beginning was taken back on another device
    if (answer.ok) take(await answer.json(), sent);
  } catch {
    // Silence is shown by the clock.
  }
  asking = false;
  if (askAgain) beat();
}

// To whatever the visit is now, once nothing waits here.
function goOn() {
  if (!outbox.waiting.length && !outbox.refused.length) location.reload();
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
  if (answer.entries.length) told.fresh = true;
  // Whoever gives heat is with the person: the screen stays open, no longer than the longest time of a visit.
  if (answer.state.field_on && answer.state.heated_s < answer.state.most_s) document.dispatchEvent(new Event("evenfield:attended"));
  keptLately = keptLately.filter((one) => one.number > told.last);
  if (!answer.running) goOn();
  if (held) owed = true;
  else show();
  outbox.flush();
}

function show() {
  owed = false;
  if (told.fresh) showEntries();
  told.fresh = false;
  showState();
  showPrompts();
  showPictures();
  showZones();
  showClock();
}

// What is redrawn or moved between the finger's coming down and its lifting would lose the tap, or hit another place.
addEventListener("pointerdown", () => { held = true; }, true);
for (const name of ["pointerup", "pointercancel"]) {
  addEventListener(name, () => setTimeout(() => { held = false; if (owed) show(); }), true);
}

document.addEventListener("evenfield:unlocked", beat);
addEventListener("beforeunload", (event) => { if (outbox.unwritten) event.preventDefault(); });
at("zones").closest("details").addEventListener("toggle", showZones);
showSettings();
showOutbox();
showClock();
beat();
setInterval(beat, EVERY);
setInterval(showClock, 250);
if (navigator.wakeLock) navigator.wakeLock.request("screen").catch(() => {});
