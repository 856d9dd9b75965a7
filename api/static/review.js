// The queue: one card after the other by thumb or keyboard; a decision is kept before the card goes.
const cards = () => [...document.querySelectorAll(".check:not(.decided)")];
const told = document.querySelector(".told");
let here = null;

const tell = (text) => { told.hidden = !text; told.textContent = text; };

const draw = (card) => {
  const details = card.querySelector("[data-pictures]");
  if (!details?.open) return;
  for (const image of details.querySelectorAll("img[data-src]")) { image.src = image.dataset.src; image.removeAttribute("data-src"); }
};

const go = (card) => {
  here?.classList.remove("here");
  here = card ?? null;
  if (!card) return;
  card.classList.add("here");
  const details = card.querySelector("[data-pictures]");
  if (details) details.open = true;
  card.focus({ preventScroll: true });
  card.scrollIntoView({ block: "start" });
};

const step = (by) => {
  const all = cards(), at = all.indexOf(here);
  go(all[Math.min(Math.max(at + by, 0), all.length - 1)]);
};

const decide = async (card, decision) => {
  const form = card.querySelector("form.decide");
  const body = { decision, note: form.elements.note.value };
  if (decision === "correct") {
    const value = Number(form.elements.value.value.trim().replace(",", "."));
    if (!form.elements.value.value.trim() || Number.isNaN(value)) { tell("Write the other method's value first."); form.elements.value.focus(); return; }
    Object.assign(body, { value, source: form.elements.source.value });
  }
  for (const button of form.querySelectorAll("button")) button.disabled = true;
  const answer = await fetch(`/api/review/${card.dataset.review}`, {
    method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body),
  }).catch(() => null);
  if (answer?.ok || answer?.status === 409) {
    const next = cards()[cards().indexOf(card) + 1] ?? cards()[0];
    card.classList.add("decided");
    tell(answer.ok ? "" : "Somebody decided this one before.");
    go(next === card ? null : next);
    if (!cards().length) location.reload();
    return;
  }
  for (const button of form.querySelectorAll("button")) button.disabled = false;
  tell(answer ? (await answer.json()).detail : "The shop cannot be reached; nothing was decided, try again.");
};

for (const card of cards()) {
  card.querySelector("[data-pictures]")?.addEventListener("toggle", () => draw(card));
  draw(card);
  for (const button of card.querySelectorAll("[data-decide]")) button.addEventListener("click", () => decide(card, button.dataset.decide));
}

const KEYS = { a: "accept", d: "dip_again" };
document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.target.matches("input, select, textarea")) {
    if (event.key === "Enter") { event.preventDefault(); if (event.target.name === "value") decide(event.target.closest(".check"), "correct"); }
    if (event.key === "Escape") event.target.blur();
    return;
  }
  if (event.key === "j" || event.key === "k") step(event.key === "j" ? 1 : -1);
  else if (event.key === "c" && here) { here.querySelector("[name=value]")?.focus(); event.preventDefault(); }
  else if (KEYS[event.key] && here?.querySelector(`[data-decide=${KEYS[event.key]}]`)) decide(here, KEYS[event.key]);
});
