// The list of what waits on this phone; a refused entry can be saved or let go, nothing vanishes by itself.
import { drain, remove, show } from "./outbox.js";
import { told as moment } from "./times.js";

const list = document.querySelector(".outbox"), nothing = document.querySelector(".nothing"), send = document.querySelector("[data-send]");
const told = document.querySelector(".told");

const words = ({ kind, event, query }) => {
  if (kind === "photo") return `Photo ${query.name}, strip ${query.table}`;
  if (event.type === "reading") return `${event.analyte.replaceAll("_", " ")} ${event.value} ${event.unit}`;
  if (event.type === "dose") return `${event.amount_g} g of ${event.product}`;
  if (event.type === "replaced_water") return `${Math.round(100 * event.fraction)} % of the water replaced`;
  return `${event.step.replaceAll("_", " ")}: done`;
};

const save = (item) => {
  const data = item.kind === "photo" ? new Blob([item.bytes]) : new Blob([JSON.stringify(item.event)], { type: "application/json" });
  const link = Object.assign(document.createElement("a"), { href: URL.createObjectURL(data), download: item.kind === "photo" ? item.query.name : "entry.json" });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
};

const button = (text, work) => {
  const made = Object.assign(document.createElement("button"), { type: "button", textContent: text });
  made.addEventListener("click", () => work(made));
  return made;
};

const row = (item) => {
  const line = document.createElement("li"), link = document.createElement("a");
  link.href = `/tubs/${item.tub}`;
  link.textContent = words(item);
  const state = Object.assign(document.createElement("p"), { className: item.refused ? "trouble" : "quiet" });
  state.textContent = item.refused ? `Refused: ${item.refused}` : `since ${moment(new Date(item.since), new Date())}`;
  const letGo = button("Let it go", async (made) => {
    if (made.dataset.sure === undefined) { made.dataset.sure = ""; made.textContent = "Sure? It is lost then"; return; }
    await remove(item.place);
    await show();
  });
  const choices = document.createElement("div");
  choices.className = "choices";
  choices.append(button("Save to this phone", () => save(item)), letGo);
  line.append(link, state, choices);
  return line;
};

document.addEventListener("outbox-changed", ({ detail }) => {
  list.replaceChildren(...detail.items.map(row));
  nothing.hidden = detail.items.length > 0;
  send.hidden = !detail.items.some((item) => !item.refused);
  told.hidden = !detail.why;
  told.textContent = detail.why ? `Not sent yet: ${detail.why}.` : "";
});
send.addEventListener("click", () => drain());
show();
