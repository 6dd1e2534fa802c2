// Entries of a visit that still lie on this tablet after another one has closed it: sent from here too.
import { Outbox } from "./outbox.js";

const place = document.getElementById("left");
const { visit, entries: address, account } = place.dataset;
let sent = false;

function show() {
  const [waiting, refused] = [outbox.waiting.length, outbox.refused.length];
  place.hidden = !waiting && !refused;
  place.textContent = (waiting ? "Entries of this visit that wait on this tablet: " + waiting + ". " + outbox.trouble + " " : "")
    + outbox.refused.map((one) => "Refused, still on this tablet: " + JSON.stringify(one.event) + " " + one.why).join(" ");
  if (sent && !waiting) location.reload();
}

const outbox = new Outbox({ visit, address, account: Number(account), changed: () => show(), kept: () => { sent = true; } });
show();
outbox.flush();
setInterval(() => outbox.flush(), 3000);
