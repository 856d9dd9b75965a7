// Local time with its offset, and spans of time in words.
const two = (number) => String(Math.floor(Math.abs(number))).padStart(2, "0");

export const stamp = (ms = Date.now()) => {
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
export const count = (element, until, over) => {
  const tick = () => {
    const left = until - Date.now();
    element.textContent = left > 0 ? span(left) : "now";
    element.classList.toggle("over", left <= 0);
    if (left <= 0) { clearInterval(timer); over?.(); }
  };
  const timer = setInterval(tick, 500);
  tick();
  return () => clearInterval(timer);
};
