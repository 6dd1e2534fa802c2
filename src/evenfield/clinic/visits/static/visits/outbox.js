// Entries are written on this tablet first, each with its own id and time, and leave it only when the server
// has answered after its commit. A refused one moves to a list of its own and stays there.
const token = () => (document.cookie.match(/(?:^|; )evenfield_csrf=([^;]+)/) || [])[1] || "";

function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

export class Outbox {
  // visit: its number; address: where entries are sent; account: who is signed in; changed: called after each
  // change; kept(entries): called with what the server has kept, each with its number; signIn: where to sign in again.
  constructor({ visit, address, account, changed, kept, signIn }) {
    Object.assign(this, { visit, address, account, changed, kept, signIn });
    this.prefix = "evenfield.visit." + visit + ".";
    this.memory = new Map(); // only what the tablet could not write down
    this.sending = false;
    this.offset = null; // the server's clock ahead of this one, ms
    this.trouble = "";
    addEventListener("online", () => this.flush());
    document.addEventListener("evenfield:unlocked", () => this.flush());
    addEventListener("storage", (event) => event.key && event.key.startsWith(this.prefix) && this.changed());
  }

  read(kind) {
    const start = this.prefix + kind + ".";
    const found = new Map();
    for (let place = 0; place < localStorage.length; place += 1) {
      const key = localStorage.key(place);
      if (!key.startsWith(start)) continue;
      try {
        const entry = JSON.parse(localStorage.getItem(key));
        if (entry && entry.id) found.set(entry.id, entry);
      } catch {
        // A half-written value is left where it is; nothing is thrown away.
      }
    }
    for (const [key, entry] of this.memory) if (key.startsWith(start)) found.set(entry.id, entry);
    return [...found.values()].sort((one, other) => one.wrote_ms - other.wrote_ms || (one.id < other.id ? -1 : 1));
  }

  write(kind, entry) {
    const key = this.prefix + kind + "." + entry.id;
    try {
      localStorage.setItem(key, JSON.stringify(entry));
    } catch {
      this.memory.set(key, entry);
    }
  }

  remove(kind, id) {
    const key = this.prefix + kind + "." + id;
    this.memory.delete(key);
    localStorage.removeItem(key);
  }

  get waiting() { return this.read("waiting"); }
  get refused() { return this.read("refused"); }
  get unwritten() { return this.memory.size; }

  // Written down here before anything else happens; the id comes back at once.
  add(event) {
    const entry = { id: newId(), wrote_ms: Date.now(), offset_ms: this.offset, by: this.account, event };
    this.write("waiting", entry);
    this.changed();
    this.flush();
    return entry.id;
  }

  // A refused entry is put away only once its words are kept as a note.
  keepAsNote(id, words) {
    const held = this.refused.find((entry) => entry.id === id);
    if (!held || held.noted) return;
    held.noted = this.add({ kind: "noted", text: "Refused entry: " + words });
    this.write("refused", held);
    this.changed();
  }

  async flush() {
    if (this.sending) return;
    const entries = this.waiting.slice(0, 50);
    if (!entries.length) return;
    this.sending = true;
    let more = false;
    try {
      const answer = await fetch(this.address, {
        method: "POST",
        credentials: "same-origin",
        headers: { "Content-Type": "application/json", "X-CSRFToken": token(), "X-Requested-With": "evenfield" },
        body: JSON.stringify({ sent_ms: Date.now(), entries }),
        signal: AbortSignal.timeout(8000),
      });
      if (answer.status === 423) {
        this.trouble = "The screen is locked; entries wait here.";
        document.dispatchEvent(new Event("evenfield:locked"));
      } else if (answer.status === 401) {
        this.trouble = "signed out";
      } else if (answer.ok) {
        const { answers } = await answer.json();
        this.settle(answers);
        this.trouble = "";
        more = this.waiting.length > 0;
      } else {
        this.trouble = "The server answered " + answer.status + "; entries wait here.";
      }
    } catch {
      this.trouble = "The server cannot be reached; entries wait here.";
    } finally {
      this.sending = false;
    }
    this.changed();
    if (more) this.flush();
  }

  settle(answers) {
    const kept = [];
    for (const answer of answers) {
      const entry = this.waiting.find((one) => one.id === answer.id);
      if (!entry) continue;
      if (!answer.kept) {
        this.write("refused", { ...entry, why: answer.refused });
      } else {
        kept.push({ ...entry, number: answer.number });
        for (const held of this.refused) if (held.noted === answer.id) this.remove("refused", held.id);
      }
      this.remove("waiting", answer.id);
    }
    this.kept(kept);
  }
}
