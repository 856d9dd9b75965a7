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

const post = (card, body) => fetch(`/api/review/${card.dataset.review}`, {
  method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body),
}).catch(() => null);

// One decision after the other: what the shop took is off the list even if the next one fails.
const settle = async (all, body) => {
  const later = cards().slice(cards().indexOf(all.at(-1)) + 1).find((card) => !all.includes(card));
  for (const card of all) {
    const buttons = card.querySelectorAll("form.decide button");
    for (const button of buttons) button.disabled = true;
    const answer = await post(card, body);
    if (!answer?.ok && answer?.status !== 409) {
      for (const button of buttons) button.disabled = false;
      go(card);
      tell(answer ? (await answer.json()).detail : "The shop cannot be reached; nothing was decided, try again.");
      return;
    }
    card.classList.add("decided");
    tell(answer.ok ? "" : "Somebody decided this one before.");
  }
  go(later ?? cards()[0]);
  if (!cards().length) location.reload();
};

const decide = async (card, decision) => {
  const form = card.querySelector("form.decide"), note = form.elements.note.value;
  if (decision === "whole") {
    await settle(cards().filter((one) => one.dataset.photo === card.dataset.photo), { decision: "dip_again", note });
    return;
  }
  const body = { decision, note };
  if (decision === "correct") {
    const value = Number(form.elements.value.value.trim().replace(",", "."));
    if (!form.elements.value.value.trim() || Number.isNaN(value)) { tell("Write the other method's value first."); form.elements.value.focus(); return; }
    Object.assign(body, { value, source: form.elements.source.value });
  }
  await settle([card], body);
};

for (const card of cards()) {
  card.querySelector("[data-pictures]")?.addEventListener("toggle", () => draw(card));
  draw(card);
  for (const button of card.querySelectorAll("[data-decide]")) button.addEventListener("click", () => decide(card, button.dataset.decide));
}

// By thumb the card in hand is the one that lies across the screen's upper part; only its answers stay in reach.
if (matchMedia("(hover: none)").matches) {
  const seen = new IntersectionObserver((moves) => {
    for (const { isIntersecting, target } of moves) {
      if (!isIntersecting || target.classList.contains("decided")) continue;
      here?.classList.remove("here");
      here = target;
      here.classList.add("here");
    }
  }, { rootMargin: "-25% 0px -70% 0px" });
  for (const card of cards()) seen.observe(card);
}

const KEYS = { a: "accept", d: "dip_again", p: "whole" };
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
