// What waits on this phone to be sent: photos and events, in order, each under its own key, sent once.
import { ahead, learn, stamp } from "./moments.js";

const NAME = "dipstep-outbox", STORE = "waiting";
const EVERY_MS = 10_000;

const opened = () => new Promise((resolve, reject) => {
  const request = indexedDB.open(NAME, 1);
  request.onupgradeneeded = () => request.result.createObjectStore(STORE, { keyPath: "place", autoIncrement: true });
  request.onsuccess = () => resolve(request.result);
  request.onerror = () => reject(request.error);
});

const within = async (mode, work) => {
  const database = await opened();
  try {
    return await new Promise((resolve, reject) => {
      const transaction = database.transaction(STORE, mode, { durability: "strict" });
      const request = work(transaction.objectStore(STORE));
      transaction.oncomplete = () => resolve(request.result);
      transaction.onerror = transaction.onabort = () => reject(transaction.error);
    });
  } finally { database.close(); }
};

export const waiting = () => within("readonly", (store) => store.getAll());
export const remove = (place) => within("readwrite", (store) => store.delete(place));
const put = (item) => within("readwrite", (store) => store.put(item));

// crypto.randomUUID is missing on plain http; getRandomValues is not.
export const newKey = () => [...crypto.getRandomValues(new Uint8Array(16))]
  .map((byte) => byte.toString(16).padStart(2, "0")).join("");

// Keeps an item and returns; where this browser keeps nothing it goes out at once, and fails aloud when it cannot.
export const add = async (item, progress) => {
  const whole = { ...item, key: item.key ?? newKey(), since: Date.now(), ahead: ahead() };
  try { await put(whole); } catch {
    const { status, answer } = await send(whole, progress);
    if (LATER.has(status)) throw new Error(WHY[status] ?? "the shop cannot take it just now");
    tell(status, { ...whole, refused: status >= 400 ? told(status, answer) : undefined }, answer);
    return;
  }
  navigator.storage?.persist?.();
  await show();
};

// A moment written down before the clock was known to be wrong is put right when it is sent.
const right = (text, item) => (text && Math.abs(ahead() - (item.ahead ?? 0)) > 1000 ? stamp(Date.parse(text) - ahead() + (item.ahead ?? 0)) : text);

const address = (item) => (item.kind === "photo"
  ? `/api/tubs/${item.tub}/photos/${item.key}?${new URLSearchParams({ ...item.query, taken_at: right(item.query.taken_at, item) })}`
  : `/api/tubs/${item.tub}/events`);

const answerOf = (request) => { try { return JSON.parse(request.responseText); } catch { return null; } };

// XMLHttpRequest, since fetch tells nothing of an upload's progress.
const send = (item, progress) => new Promise((resolve) => {
  const request = new XMLHttpRequest();
  request.open(item.kind === "photo" ? "PUT" : "POST", address(item));
  request.timeout = 120_000;
  if (item.kind === "photo") request.setRequestHeader("Content-Type", "application/octet-stream");
  else {
    request.setRequestHeader("Content-Type", "application/json");
    request.setRequestHeader("Idempotency-Key", item.key);
  }
  request.upload.onprogress = (event) => event.lengthComputable && progress?.(event.loaded / event.total);
  request.onload = () => resolve({ status: request.status, answer: answerOf(request) });
  request.onerror = request.ontimeout = request.onabort = () => resolve({ status: 0, answer: null });
  request.send(item.kind === "photo" ? item.bytes : JSON.stringify({ ...item.event, at: right(item.event.at, item) }));
});

const LATER = new Set([0, 401, 408, 425, 429, 500, 502, 503, 504]);
const WHY = { 0: "the shop cannot be reached", 401: "log in to send it", 429: "too many at once" };

const told = (status, answer) => answer?.detail ?? `refused (${status})`;

// Every open page of this phone hears what became of an item, whichever page sent it.
const pages = "BroadcastChannel" in self ? new BroadcastChannel(NAME) : null;
const news = (name, detail) => document.dispatchEvent(new CustomEvent(name, { detail }));
const tell = (status, item, answer) => {
  const name = status >= 400 ? "outbox-refused" : "outbox-sent";
  const { bytes, ...light } = item;
  pages?.postMessage({ name, item: light, answer });
  news(name, { item, answer });
};
if (pages) pages.onmessage = async ({ data }) => { await show(); news(data.name, { item: data.item, answer: data.answer }); };

let draining = false;

export const drain = async (progress) => {
  if (draining) return;
  draining = true;
  try {
    await learn();
    for (const item of await known()) {
      if (item.refused) continue;
      const { status, answer } = await send(item, progress);
      if (LATER.has(status)) {
        await show(WHY[status] ?? "the shop cannot take it just now");
        return;
      }
      const done = status >= 400 ? { ...item, refused: told(status, answer) } : item;
      if (done.refused) await put(done);
      else await remove(item.place);
      await show();
      tell(status, done, answer);
    }
    await show(""); // another page of this phone may have sent it
  } finally { draining = false; }
};

// A browser that keeps nothing has nothing waiting.
const known = () => waiting().catch(() => []);

let why = "";

export const show = async (reason) => {
  if (reason !== undefined) why = reason;
  const items = await known();
  const open = items.filter((item) => !item.refused);
  if (!open.length) why = "";
  const line = document.querySelector("#outbox");
  const refused = items.length - open.length;
  const words = [open.length && `${open.length} waiting on this phone${why && `: ${why}`}`, refused && `${refused} refused`];
  const minutes = Math.round(Math.abs(ahead()) / 60_000);
  if (minutes) words.push(`this phone's clock is ${minutes} min ${ahead() > 0 ? "ahead" : "behind"}: times are put right`);
  const link = line.querySelector("a"), text = words.filter(Boolean).join(", ");
  if (link.textContent !== text) link.textContent = text; // said once, not at every try
  line.hidden = !text;
  link.href = why === WHY[401] ? `/login?${new URLSearchParams({ next: location.pathname })}` : "/waiting";
  const here = document.querySelector("[data-outbox-here]");
  if (here) {
    const mine = open.filter((item) => item.tub === here.dataset.outboxHere);
    here.hidden = !mine.length;
    document.body.classList.toggle("pending", mine.length > 0); // a step may be done already: it is not shouted
    here.textContent = `${mine.length} entr${mine.length > 1 ? "ies" : "y"} of this tub still wait${mine.length > 1 ? "" : "s"} on this phone. The step below does not know of ${mine.length > 1 ? "them" : "it"}: dose nothing by it until ${mine.length > 1 ? "they are" : "it is"} sent.`;
  }
  document.dispatchEvent(new CustomEvent("outbox-changed", { detail: { items, why } }));
};

const again = () => { drain().catch(() => {}); };
addEventListener("online", again);
addEventListener("focus", again);
addEventListener("pageshow", again);
document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && again());
setInterval(again, EVERY_MS); // a dead server sends no "online" event
show().then(again);

if ("serviceWorker" in navigator) navigator.serviceWorker.register("/sw.js").catch(() => {});
else document.documentElement.classList.add("no-worker");
