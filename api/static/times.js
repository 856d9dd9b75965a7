// Moments as this phone's clock tells them; without script the page shows them with their offset.
import { now } from "./moments.js";

const STALE_MS = 60_000;
const DAY = new Intl.DateTimeFormat("en-GB", { weekday: "short", day: "numeric", month: "short" });
const CLOCK = new Intl.DateTimeFormat("en-GB", { hour: "2-digit", minute: "2-digit" });

export const told = (when, now) => {
  const day = when.toDateString() === now.toDateString() ? "today" : DAY.format(when);
  const year = when.getFullYear() === now.getFullYear() ? "" : ` ${when.getFullYear()}`;
  return `${day}${year}, ${CLOCK.format(when)}`;
};

// A sheet that is printed tells times by the clock on this wall.
for (const link of document.querySelectorAll("a[data-zone]")) {
  const zone = Intl.DateTimeFormat().resolvedOptions().timeZone;
  if (zone) link.href += `?${new URLSearchParams({ zone })}`;
}

for (const time of document.querySelectorAll("time[datetime]")) {
  const when = new Date(time.dateTime);
  if (Number.isNaN(when.valueOf())) continue;
  time.title = time.textContent;
  time.textContent = told(when, new Date());
}

// A page that the phone kept looks like any other: it must say that it is old, for a step may be done since.
const made = new Date(document.body.dataset.made), stale = document.querySelector("#stale");
if (now() - made > STALE_MS && location.pathname !== "/waiting") {
  stale.textContent = `The shop cannot be reached: this is the page as it was ${told(made, new Date())}.`;
  stale.hidden = false;
}

// Where one is, for the eye and for who listens.
for (const way of document.querySelectorAll(".ways a")) {
  const here = way.pathname === "/" ? location.pathname === "/" : location.pathname.startsWith(way.pathname);
  if (here) way.setAttribute("aria-current", "page");
}
