// Moments as this phone's clock tells them; without script the page shows them with their offset.
const DAY = new Intl.DateTimeFormat("en-GB", { weekday: "short", day: "numeric", month: "short" });
const CLOCK = new Intl.DateTimeFormat("en-GB", { hour: "2-digit", minute: "2-digit" });

const told = (when, now) => {
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
