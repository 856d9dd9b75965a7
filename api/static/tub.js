// One tub: the running wait, and events entered by hand, kept on the phone until the shop has them.
import { add, drain } from "./outbox.js";
import { count, now, stamp } from "./moments.js";

const told = document.querySelector(".told");
const tub = location.pathname.split("/")[2];
const tell = (text) => {
  if (!told || (!told.hidden && told.textContent === text)) return; // said already: the page stays where it is
  told.hidden = false;
  told.textContent = text;
  told.scrollIntoView({ block: "center" });
};
const number = (text) => Number(String(text).trim().replace(",", "."));

const SHAPES = {
  reading: (form) => {
    const chosen = form.elements.analyte.selectedOptions[0];
    return {
      analyte: chosen.value, value: number(form.elements.value.value), unit: chosen.dataset.unit,
      source: form.elements.source.value, sample: form.elements.sample.value,
    };
  },
  dose: (form) => ({ product: form.elements.product.value, amount_g: number(form.elements.amount_g.value) }),
  replaced_water: (form) => ({ fraction: number(form.elements.percent.value) / 100 }),
  done: (form) => ({ step: form.elements.step.value }),
};

for (const form of document.querySelectorAll("form[data-event]")) {
  form.addEventListener("submit", async (happening) => {
    happening.preventDefault();
    const event = { at: stamp(), type: form.dataset.event, ...SHAPES[form.dataset.event](form) };
    if (Object.values(event).some(Number.isNaN)) { tell("That is not a number; write digits, such as 7.4."); return; }
    const button = form.querySelector("button");
    button.disabled = true;
    try {
      writing = false;
      await add({ kind: "event", tub: form.dataset.tub, event });
      tell("Kept on this phone; sending.");
      await drain();
    } catch (fault) { tell(`This browser cannot keep it, and it could not be sent: ${fault.message}. Write it down and enter it again.`); }
    button.disabled = false;
  });
}

// The page is shown anew when something has changed, but never under a hand that is writing.
let writing = false;
for (const form of document.querySelectorAll("form")) form.addEventListener("input", () => { writing = true; });
const renew = (why) => {
  if (!writing) { location.reload(); return; }
  tell(`${why} Finish what you are writing, or `);
  const link = Object.assign(document.createElement("a"), { href: location.href, textContent: "show the page anew" });
  link.addEventListener("click", (event) => { event.preventDefault(); location.reload(); });
  told?.append(link, ".");
};

document.addEventListener("outbox-sent", ({ detail }) => { if (detail.item.tub === tub) renew("Something of this tub has reached the shop."); });
document.addEventListener("outbox-refused", ({ detail }) => tell(`Not entered: ${detail.item.refused}`));
document.addEventListener("outbox-changed", ({ detail }) => { if (detail.why) tell(`Kept on this phone: ${detail.why}. It is sent as soon as that changes.`); });

for (const clock of document.querySelectorAll("[data-clock]")) {
  // A wait that is over on arrival was answered by the server already.
  count(clock, Date.parse(clock.dataset.clock), (late) => late || setTimeout(() => renew("The wait is over."), 1500), now);
}

for (const button of document.querySelectorAll("[data-withdraw]")) {
  button.addEventListener("click", async () => {
    if (button.dataset.sure === undefined) { button.dataset.sure = ""; button.textContent = "Sure? It stays in the books"; return; }
    const answer = await fetch(button.dataset.withdraw, { method: "DELETE" }).catch(() => null);
    if (answer?.ok) location.reload();
    else tell("It could not be taken out now; try again when the shop can be reached.");
  });
}
