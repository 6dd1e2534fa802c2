// Sliders and steps for each control, and the quick answer while one changes them.
(() => {
  "use strict";
  const form = document.getElementById("ask");
  const said = document.getElementById("said");
  const ready = form.dataset.ready === "yes";
  let wanted = 0;
  let timer;

  const typed = (text) => Number(text.trim().replace(",", ".").replace("−", "-"));
  const round = (x) => String(Math.round(x * 1000) / 1000);

  function make(tag, attributes, words) {
    const made = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
    if (words) made.textContent = words;
    return made;
  }

  for (const control of form.querySelectorAll(".control")) {
    const input = control.querySelector("input");
    const words = control.querySelector("label").textContent;
    const { low, high, step } = input.dataset;
    const less = make("button", { type: "button", "aria-label": `${words}: less` }, "−");
    const more = make("button", { type: "button", "aria-label": `${words}: more` }, "+");
    const range = make("input", { type: "range", min: low, max: high, step: "any", "aria-label": words });
    const show = () => {
      const value = typed(input.value);
      if (!Number.isNaN(value)) range.value = value;
      control.classList.toggle("changed", value !== Number(control.dataset.base));
    };
    const set = (value) => {
      input.value = round(Math.min(Number(high), Math.max(Number(low), value)));
      show();
      soon();
    };
    less.addEventListener("click", () => set(typed(input.value) - Number(step)));
    more.addEventListener("click", () => set(typed(input.value) + Number(step)));
    range.addEventListener("input", () => {
      const base = Number(control.dataset.base);
      const half = Number(step) / 2;
      set(base + Math.round((Number(range.value) - base) / half) * half);
    });
    range.addEventListener("keydown", (event) => {
      const by = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1 }[event.key];
      if (!by) return;
      event.preventDefault();
      set(typed(input.value) + by * Number(step));
    });
    input.addEventListener("input", () => { show(); soon(); });
    input.before(less);
    input.after(more);
    more.after(range);
    show();
  }

  function soon() {
    if (!ready) return;
    clearTimeout(timer);
    timer = setTimeout(ask, 120);
  }

  async function ask() {
    const mine = ++wanted;
    const query = new URLSearchParams(new FormData(form));
    query.delete("csrfmiddlewaretoken");
    let told;
    try {
      const answer = await fetch(`${location.pathname}?${query}`, {
        headers: { "X-Requested-With": "evenfield" },
        credentials: "same-origin",
      });
      if (answer.status === 423) return document.dispatchEvent(new Event("evenfield:locked"));
      if (answer.status === 401) return location.reload();
      told = await answer.json();
    } catch {
      if (mine === wanted) say([make("p", { class: "message error" }, "The server does not answer.")]);
      return;
    }
    if (mine !== wanted) return;
    if (told.waiting) {
      say([make("p", {}, "The quick answers are being read …")]);
      timer = setTimeout(ask, 400);
    } else if (told.nothing) {
      say([make("p", {}, "Nothing is changed.")]);
    } else if (told.problem) {
      say([make("p", { class: "message warning" }, told.problem)]);
    } else {
      const list = make("ul", {});
      list.append(...told.parts.map((part) => make("li", {}, part)));
      say([list, ...told.beyond.map((line) => make("p", { class: "message error" }, line))]);
    }
  }

  const say = (nodes) => said.replaceChildren(...nodes);
  form.addEventListener("submit", (event) => {
    if (event.submitter && event.submitter.id === "quick" && ready) {
      event.preventDefault();
      ask();
    }
  });
})();
