// The sheets that rise when an entry needs a number or a choice. Each ends in one event, or in none.
export function element(name, attributes = {}, ...children) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key === "on") made.addEventListener("click", value);
    else if (value !== null && value !== false) made.setAttribute(key, value === true ? "" : value);
  }
  made.append(...children);
  return made;
}

const FEELINGS = [["even_warmth", "even warmth"], ["uneven_warmth", "uneven"], ["no_warmth", "no warmth"], ["hot", "hot"],
  ["stinging", "stinging"], ["ache", "ache"], ["pain", "pain"], ["numbness", "numbness"], ["unwell", "unwell"]];
const REASONS = ["doing it shortly", "the person wants to wait", "the device does not allow it", "checked, not needed"];
const REDNESS = ["0 none", "1 faint", "2 pink", "3 red", "4 deep red or swollen"];

export class Sheets {
  constructor(dialog, add) {
    this.dialog = dialog;
    this.add = add;
    this.plan = { panels: [], places: [] };
    this.state = {};
    this.zone = null;
    dialog.addEventListener("click", (event) => { if (event.target === dialog) dialog.close(); });
  }

  open(title, ...children) {
    const close = element("button", { type: "button", class: "quiet", on: () => this.dialog.close() }, "Cancel");
    this.dialog.replaceChildren(element("div", { class: "sheet-head" }, element("h2", { id: "sheet-title" }, title), close),
      ...children);
    if (!this.dialog.open) this.dialog.showModal();
    const first = this.dialog.querySelector("[autofocus], .tiles-of button, input, textarea");
    if (first) first.focus();
  }

  send(...events) {
    this.dialog.close();
    this.add(...events);
  }

  tiles(choices, chosen, attributes = {}) {
    return element("div", { class: "tiles-of", ...attributes },
      ...choices.map(([value, words, mark, disabled = false]) => element("button", { type: "button", class: mark ? "here" : null,
        "aria-pressed": mark === undefined ? null : String(Boolean(mark)), disabled, on: () => chosen(value) }, words)));
  }

  // A number by tiles or by digits; `make` turns it into an event. It is kept as typed or refused, never rounded.
  number(title, { unit, low, high, near = [], make, before = [], after = [], onward = null }) {
    const shown = element("input", { id: "sheet-number", inputmode: "decimal", autocomplete: "off", autofocus: true });
    const wrong = element("p", { class: "wrong", role: "alert", hidden: true });
    const refuse = (words) => {
      wrong.textContent = words;
      wrong.hidden = false;
      return false;
    };
    const take = (value) => {
      const typed = String(value).trim().replace(",", ".");
      const number = Number(typed);
      if (!/^\d+(\.\d*)?$/.test(typed) || number < low || number > high) return refuse("Allowed: " + low + " to " + high + " " + unit + ".");
      const decimals = (typed.split(".")[1] || "").length;
      if (decimals > 1) return refuse("At most one decimal is kept, and " + typed + " has " + decimals + ": enter it with one.");
      this.send(make(number));
      return true;
    };
    const digit = (key) => {
      shown.value = key === "⌫" ? shown.value.slice(0, -1) : shown.value + key;
    };
    const keys = [..."123456789"].map((key) => [key, key]);
    keys.push([".", "."], ["0", "0"], ["⌫", "⌫"]);
    const form = element("form", { method: "dialog" }, element("label", { for: "sheet-number" }, "In " + unit), shown, wrong,
      this.tiles(keys, digit, { class: "tiles-of digits" }), element("button", { class: "main" }, "Enter"),
      ...(onward ? [element("button", { class: "wide-button", value: "onward" }, "Enter, next zone")] : []));
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      if (take(shown.value) && event.submitter && event.submitter.value === "onward") onward();
    });
    this.open(title, ...before, ...(near.length ? [this.tiles(near.map((one) => [one, one + " " + unit,
      one === this.present]), take, { class: "tiles-of near" })] : []), form, ...after);
    shown.focus();
  }

  power(send = (event) => event) {
    const now = this.state.power_w || 0;
    const step = this.state.raise_step_w || 10;
    this.present = now;
    const near = [...new Set([0, now - 2 * step, now - step, now, now + step, now + 2 * step])].filter((one) => one >= 0);
    this.number("Power as the device shows it", { unit: "W", low: 0, high: 2000, near,
      make: (watts) => send({ kind: "power_set", watts }),
      before: [element("button", { type: "button", class: "wide-button", on: () => this.send(send({ kind: "power_would_not_rise" })) },
        "Power would not rise")] });
  }

  tuning(send = (event) => event) {
    this.present = this.state.tuning;
    this.number("Tuning as the device shows it", { unit: "%", low: 0, high: 100, near: [60, 70, 75, 80, 85, 90, 95, 100],
      make: (percent) => send({ kind: "tuning_shown", percent }) });
  }

  // After a reading the next zone is offered; "Enter, next zone" goes on with it at once.
  skin(send = null, zone = this.zone) {
    const places = this.plan.places.map((one) => one.label);
    const chosen = element("select", { id: "sheet-zone" }, ...places.map((label) => element("option",
      { value: label, selected: label === zone }, label)));
    const make = (celsius) => {
      const event = { kind: "skin_reading", zone: chosen.value, celsius };
      if (send) return send(event);
      this.zone = places[(places.indexOf(chosen.value) + 1) % places.length];
      return event;
    };
    this.number("Skin temperature", { unit: "°C", low: 10, high: 60, make, onward: send ? null : () => this.skin(),
      before: [element("label", { for: "sheet-zone" }, "Zone"), chosen] });
  }

  // Comfort, feeling or both, each an entry of its own.
  comfort() {
    const chosen = { score: null, feeling: null };
    const body = element("div");
    const enter = () => this.send(chosen.score !== null && { kind: "comfort", score: chosen.score },
      chosen.feeling !== null && { kind: "sensation", feeling: chosen.feeling });
    const show = (at) => {
      const nothing = chosen.score === null && chosen.feeling === null;
      body.replaceChildren(...this.scores(chosen.score, (score) => { chosen.score = score; show(0); }),
        element("h3", {}, "It feels like"), this.feelings(chosen.feeling, (feeling) => { chosen.feeling = feeling; show(1); }),
        element("button", { type: "button", class: "main", disabled: nothing, on: enter }, nothing ? "Choose one or both" : "Enter"));
      this.focusAgain(body, at);
    };
    this.open("Comfort and feeling", body);
    show(0);
  }

  scores(present, chosen) {
    return [element("p", { class: "ends" }, element("span", {}, "0 cannot be borne"), element("span", {}, "10 fully comfortable")),
      this.tiles([...Array(11).keys()].map((one) => [one, String(one), one === present]), chosen, { class: "tiles-of scores" })];
  }

  feelings(present, chosen) {
    return this.tiles(FEELINGS.map(([value, words]) => [value, words, value === present]), chosen, { class: "tiles-of feelings" });
  }

  // With a plan a panel has a name and sides; without one it is told by the side of the region it stands at.
  // `asked`: the panel, side and distance a prompt names, or those of an entry.
  moved(asked = null, send = (event) => event) {
    const { panels, places } = this.plan;
    const names = panels.length ? panels.map((one) => one.name) : places.map((one) => one.label);
    const hot = (this.state.spots || []).map((spot) => spot.panel).find((name) => names.includes(name));
    const { panel: first, side, by_mm: told } = asked || { panel: hot };
    const chosen = { panel: names.includes(first) ? first : names.length === 1 ? names[0] : "",
      ...(panels.length && { side: side || "whole" }) };
    const body = element("div");
    const far = [...new Set([2, 3, 5, 8, 10, ...(told ? [Math.abs(told)] : [])])].sort((one, other) => one - other);
    const steps = (sign, words) => far.map((mm) => [sign * mm, mm + " mm " + words, sign * mm === told, !chosen.panel]);
    const move = (by_mm) => this.send(send({ kind: "panel_moved", ...chosen, by_mm }));
    const show = (at) => {
      const panel = panels.find((one) => one.name === chosen.panel) || panels[0];
      const sides = panel ? [["whole", "the whole panel"],
        ...Object.entries(panel.sides).map(([name, words]) => [name, words + " side"])] : [];
      body.replaceChildren(
        element("h3", {}, "Which"),
        this.tiles(names.map((name) => [name, name, name === chosen.panel]), (name) => { chosen.panel = name; show(0); }),
        ...(panel ? [this.tiles(sides.map(([name, words]) => [name, words, name === chosen.side]),
          (name) => { chosen.side = name; show(1); })] : []),
        element("h3", {}, chosen.panel ? "How far" : "How far: choose the panel first"),
        this.tiles(steps(1, "away"), move), this.tiles(steps(-1, "closer"), move));
      this.focusAgain(body, at);
    };
    this.open("Moved a panel", body);
    show();
  }

  // The keyboard stays where it was in a sheet drawn anew: on the chosen tile of a group, else on the first.
  focusAgain(body, group = 0) {
    const tiles = body.querySelectorAll(".tiles-of")[group];
    (tiles.querySelector(".here") || tiles.querySelector("button")).focus();
  }

  looked(send = (event) => event) {
    const chosen = { broken: false };
    const box = element("input", { type: "checkbox", id: "sheet-broken" });
    box.addEventListener("change", () => { chosen.broken = box.checked; });
    this.open("Skin looked at", element("div", { class: "tick single" }, box,
      element("label", { for: "sheet-broken" }, "blistered or broken")), element("h3", {}, "Redness"),
      this.tiles(REDNESS.map((words, redness) => [redness, words]),
        (redness) => this.send(send({ kind: "skin_looked", redness, broken: chosen.broken }))));
  }

  words(title, label, make, choices = []) {
    const area = element("textarea", { id: "sheet-words", maxlength: "2000" });
    const form = element("form", { method: "dialog" }, element("label", { for: "sheet-words" }, label), area,
      element("button", { class: "main" }, "Enter"));
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      if (area.value.trim()) this.send(make(area.value.trim()));
    });
    this.open(title, ...(choices.length ? [this.tiles(choices.map((one) => [one, one]), (one) => this.send(make(one)))] : []), form);
    if (!choices.length) area.focus();
  }

  note() {
    this.words("Note", "In words", (text) => ({ kind: "noted", text }));
  }

  notNow(prompt) {
    this.words("Not now, because", "Another reason", (reason) => ({ kind: "prompt_answered", prompt: prompt.id,
      answer: "not_now", reason }), REASONS);
  }

  // An entry is changed only by another one that says so.
  correct(entry) {
    const send = (replacement) => ({ kind: "correction", of: entry.id, replacement });
    const { event } = entry;
    const where = () => this.open("Where", this.tiles(this.plan.places.map((zone) => [zone, zone.label, zone.label === event.zone]),
      (zone) => this.send(send({ kind: entry.kind, zone: zone.label, panel: zone.panel || null }))));
    const again = { power_set: () => this.power(send), tuning_shown: () => this.tuning(send),
      skin_reading: () => this.skin(send, event.zone), panel_moved: () => this.moved(event, send), hot_spot: where, hot_spot_gone: where,
      comfort: () => this.open("Comfort", ...this.scores(event.score, (score) => this.send(send({ kind: "comfort", score })))),
      sensation: () => this.open("It feels like", this.feelings(event.feeling, (feeling) => this.send(send({ kind: "sensation", feeling })))),
      skin_looked: () => this.looked(send), noted: () => this.words("Note", "In words", (text) => send({ kind: "noted", text })),
    }[entry.kind];
    const back = element("button", { type: "button", class: "wide-button",
      on: () => this.send({ kind: "correction", of: entry.id, replacement: null }) }, "Take it back");
    const other = again ? [element("button", { type: "button", class: "wide-button", on: again }, "Enter another value")] : [];
    this.open("Correct: " + entry.words, ...other, back,
      element("p", { class: "help" }, "Both stay in the record: the entry, and that it was corrected."));
  }
}
