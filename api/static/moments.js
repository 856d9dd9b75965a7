// Local time with its offset, spans of time in words, and how far this phone's clock is off.
const KEPT = "dipstep-clock", BELIEVED_MS = 20_000, AGAIN_MS = 300_000;
let off = (() => { try { return Number(localStorage.getItem(KEPT)) || 0; } catch { return 0; } })();
let learnt = 0;

// How far this phone runs ahead of the shop [ms]; what it writes down is put right by that, a strip's own clock is not.
export const ahead = () => off;
export const now = () => Date.now() - off;

export const learn = async () => {
  if (Date.now() - learnt < AGAIN_MS) return;
  const before = Date.now();
  const answer = await fetch("/health", { cache: "no-store" }).catch(() => null);
  const after = Date.now(), told = Date.parse(answer?.headers.get("date") ?? "");
  if (!answer?.ok || Number.isNaN(told) || after - before > 5000) return;
  learnt = after;
  const by = (before + after) / 2 - (told + 500); // the header is cut to whole seconds
  off = Math.abs(by) < BELIEVED_MS ? 0 : Math.round(by);
  try { localStorage.setItem(KEPT, String(off)); } catch { /* a private window learns it anew */ }
};

const two = (number) => String(Math.floor(Math.abs(number))).padStart(2, "0");

export const stamp = (ms = now()) => {
  const when = new Date(ms);
  const offset = -when.getTimezoneOffset();
  const day = `${when.getFullYear()}-${two(when.getMonth() + 1)}-${two(when.getDate())}`;
  const time = `${two(when.getHours())}:${two(when.getMinutes())}:${two(when.getSeconds())}.${String(when.getMilliseconds()).padStart(3, "0")}`;
  return `${day}T${time}${offset < 0 ? "-" : "+"}${two(offset / 60)}:${two(offset % 60)}`;
};

export const span = (ms) => {
  const seconds = Math.max(0, Math.round(ms / 1000));
  const hours = Math.floor(seconds / 3600), minutes = Math.floor((seconds % 3600) / 60);
  if (hours >= 48) return `${Math.floor(hours / 24)} days ${hours % 24} h`;
  if (hours) return `${hours} h ${two(minutes)} min`;
  return `${minutes}:${two(seconds % 60)}`;
};

// Counts on the clock, not on ticks: a phone that slept shows the right time at once.
// `over` hears whether the moment had passed before the counting began. A clock is read out when asked, not at every tick.
export const count = (element, until, over, clock = Date.now) => {
  const late = until <= clock();
  const tick = () => {
    const left = until - clock();
    element.textContent = left > 0 ? span(left) : "now";
    element.classList.toggle("over", left <= 0);
    if (left <= 0) { clearInterval(timer); over?.(late); }
  };
  const timer = setInterval(tick, 500);
  tick();
  return () => clearInterval(timer);
};
