// One tub: the running wait, and events entered by hand, kept on the phone until the shop has them.
import { add, drain } from "./outbox.js";
import { count, stamp } from "./moments.js";

const told = document.querySelector(".told");
const tell = (text) => { told.hidden = false; told.textContent = text; told.scrollIntoView({ block: "center" }); };
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
      await add({ kind: "event", tub: form.dataset.tub, event });
      tell("Kept on this phone; sending.");
      await drain();
    } catch { tell("This browser cannot keep it; write it down and enter it again."); }
    button.disabled = false;
  });
}

document.addEventListener("outbox-sent", () => location.reload());
document.addEventListener("outbox-refused", ({ detail }) => tell(`Not entered: ${detail.item.refused ?? detail.answer?.detail}`));
document.addEventListener("outbox-changed", ({ detail }) => { if (detail.why) tell(`Kept on this phone: ${detail.why}. It is sent as soon as that changes.`); });

for (const clock of document.querySelectorAll("[data-clock]")) {
  let fresh = false; // a wait that is over on arrival was answered by the server already
  const until = Date.parse(clock.dataset.clock);
  fresh = until > Date.now();
  count(clock, until, () => fresh && setTimeout(() => location.reload(), 1500));
}

for (const button of document.querySelectorAll("[data-withdraw]")) {
  button.addEventListener("click", async () => {
    if (button.dataset.sure === undefined) { button.dataset.sure = ""; button.textContent = "Sure? It stays in the books"; return; }
    const answer = await fetch(button.dataset.withdraw, { method: "DELETE" }).catch(() => null);
    if (answer?.ok) location.reload();
    else tell("It could not be taken out now; try again when the shop can be reached.");
  });
}
