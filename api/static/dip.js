// The strip's clock, the camera and the photo's way to the shop. All is kept before the camera opens:
// some phones drop the page meanwhile.
import { add, drain, newKey } from "./outbox.js";
import { ahead, count, stamp } from "./moments.js";
import { framing } from "./framing.js";

const form = document.querySelector("[data-dip]");
const tub = form.dataset.dip;
const KEPT = `dipstep-dip-${tub}`, CHOICE = "dipstep-choice";
const OLD_MS = 30 * 60_000, CLOCK_MS = 4 * 60_000;
const $ = (selector) => form.querySelector(selector);
const [clocks, reads, dipped, preview, hints, progress, go, chosenOnes, reached] = [".clocks", ".reads", "[data-dipped]", ".preview", ".framing", ".progress", "button[type=submit]", ".chosen", "[data-reached]"].map($);
let photo = null, stops = [], sent = null, over = false;

const restore = (key) => { try { return JSON.parse(localStorage.getItem(key)) ?? {}; } catch { return {}; } };
const keep = (key, value) => { try { localStorage.setItem(key, JSON.stringify(value)); } catch { /* a private window keeps nothing */ } };

for (const [name, value] of Object.entries(restore(CHOICE))) {
  if ([...form.elements[name].options].some((option) => option.value === value)) form.elements[name].value = value;
}
const remember = () => keep(CHOICE, { table: form.elements.table.value, card: form.elements.card.value });

const told = () => {
  const names = [form.elements.table, form.elements.card, form.elements.sample].map((one) => one.selectedOptions[0]?.textContent ?? "");
  $(".which-chosen").textContent = `: ${names.join("; ")}`;
};

const since = () => { const { at } = restore(KEPT); return at && Date.now() - at < OLD_MS ? at : null; };

const run = () => {
  const at = since();
  clocks.hidden = !at;
  dipped.hidden = Boolean(at);
  chosenOnes.open = !at; // once the clock runs, clock and camera are what the thumb needs
  told();
  for (const stop of stops) stop();
  stops = [];
  reads.replaceChildren();
  if (!at) return;
  const plan = (form.elements.table.selectedOptions[0]?.dataset.reads ?? "").split("|").filter(Boolean);
  for (const one of plan) {
    const cut = one.indexOf(":"), line = document.createElement("li");
    const clock = Object.assign(document.createElement("strong"), { className: "clock" });
    line.append(clock, ` ${one.slice(cut + 1)} (at ${one.slice(0, cut)} s)`);
    reads.append(line);
    stops.push(count(clock, at + 1000 * Number(one.slice(0, cut)), (late) => {
      if (late) return; // the page was opened again after the moment
      navigator.vibrate?.(200);
      reached.textContent = `Now read ${one.slice(cut + 1)}.`;
    }));
  }
};

dipped.addEventListener("click", () => { keep(KEPT, { at: Date.now() }); run(); });
$("[data-again]").addEventListener("click", () => { keep(KEPT, { at: Date.now() }); run(); });
form.elements.table.addEventListener("change", () => { remember(); run(); });
form.elements.card.addEventListener("change", () => { remember(); told(); });
form.elements.sample.addEventListener("change", told);

const chosen = async (input) => {
  const [file] = input.files;
  if (!file) return;
  const at = since();
  const fresh = input.name === "photo"; // an album's file dates tell when it was copied, not taken
  const taken = file.lastModified && file.lastModified <= Date.now() && (!fresh || file.lastModified >= (at ?? 0)) ? file.lastModified : Date.now();
  photo = { bytes: await file.arrayBuffer(), name: file.name || "photo", taken, elapsed: fresh && at ? (taken - at) / 1000 : null, dipped: !fresh && at ? at : null };
  if (preview.src) URL.revokeObjectURL(preview.src);
  preview.src = URL.createObjectURL(file);
  preview.hidden = false;
  preview.onerror = () => { preview.hidden = true; };
  go.disabled = false;
  hints.replaceChildren(...(await framing(file)).map((text) => Object.assign(document.createElement("li"), { textContent: text })));
  hints.hidden = !hints.children.length;
  go.scrollIntoView({ block: "center" });
};
for (const input of form.querySelectorAll("input[type=file]")) input.addEventListener("change", () => chosen(input));

const say = (text) => { progress.hidden = false; progress.textContent = text; };

form.addEventListener("submit", async (happening) => {
  happening.preventDefault();
  if (!photo) return;
  remember();
  go.disabled = true;
  const { table, card, sample } = Object.fromEntries(new FormData(form));
  const query = { table, taken_at: stamp(photo.taken - ahead()), name: photo.name, sample };
  if (card) query.card = card;
  if (photo.elapsed !== null) query.elapsed_s = photo.elapsed.toFixed(1);
  // The photo bears this phone's time, so the dip must too; a clock far ahead would be refused.
  if (photo.dipped !== null && ahead() < CLOCK_MS) query.dipped_at = stamp(photo.dipped);
  sent = newKey();
  const progress = (share) => say(share < 1 ? `Sending: ${Math.round(100 * share)} %` : "Reading the strip");
  try {
    await add({ key: sent, kind: "photo", tub, query, bytes: photo.bytes }, progress);
  } catch (fault) {
    sent = null;
    say(`This browser cannot keep the photo, and it could not be sent: ${fault.message}. Keep the photo; leave the private window, or free some space.`);
    go.disabled = false;
    return;
  }
  keep(KEPT, {});
  photo = null;
  if (over) return;
  say("Kept on this phone; sending.");
  await drain(progress);
});

document.addEventListener("outbox-sent", ({ detail }) => {
  if (detail.item.key !== sent) return;
  over = true;
  location.assign(`/tubs/${tub}/photos/${detail.answer.photo}`);
});
document.addEventListener("outbox-refused", ({ detail }) => { if (detail.item.key === sent) { over = true; say(`Not read: ${detail.item.refused}`); }; });
document.addEventListener("outbox-changed", ({ detail }) => {
  if (sent !== null && !over && detail.why) say(`The photo is kept on this phone: ${detail.why}. It is sent as soon as that changes; you may close this page.`);
});

run();
