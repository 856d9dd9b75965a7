// Pages come from the shop when it answers in time, else as they were last seen; the outbox keeps the rest.
const SHELL_CACHE = `dipstep-shell-${VERSION}`, PAGES = "dipstep-pages";
const PATIENCE_MS = 4000;
const KEPT_PAGES = 200, RENEW_MS = 30 * 60_000, PAUSE_MS = 250;
const FIRST = ["/tubs", "/waiting"];

self.addEventListener("install", (event) => {
  event.waitUntil((async () => {
    const shell = await caches.open(SHELL_CACHE);
    await shell.addAll(SHELL);
    const pages = await caches.open(PAGES);
    await Promise.all(FIRST.map(async (path) => {
      const answer = await fetch(path).catch(() => null);
      if (answer?.ok && !answer.redirected) await pages.put(path, answer);
    }));
    await self.skipWaiting();
  })());
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) if (name.startsWith("dipstep-shell-") && name !== SHELL_CACHE) await caches.delete(name);
    await self.clients.claim();
  })());
});

const cacheable = (url) => /^\/(tubs|waiting)(\/|$)/.test(url.pathname);

const keep = async (request, answer) => {
  const pages = await caches.open(PAGES);
  await pages.put(request, answer);
  const keys = await pages.keys();
  for (const old of keys.slice(0, Math.max(0, keys.length - KEPT_PAGES))) await pages.delete(old);
};

const sorry = () => new Response(
  "<!doctype html><html lang=en><meta charset=utf-8><meta name=viewport content='width=device-width'><title>No network</title><link rel=stylesheet href=/static/look.css><main><h1>No network</h1><p>This page was not opened on this phone before. <a href=/tubs>Tubs</a>, <a href=/waiting>what waits on this phone</a></p></main></html>",
  { status: 503, headers: { "Content-Type": "text/html; charset=utf-8" } },
);

const page = async (request) => {
  const url = new URL(request.url);
  const old = cacheable(url) ? await caches.match(request, { ignoreSearch: url.pathname.endsWith("/dip") }) : undefined;
  const late = new Promise((resolve) => setTimeout(() => resolve(old), PATIENCE_MS));
  const fresh = fetch(request).then(async (answer) => {
    if (answer.ok && !answer.redirected && cacheable(url)) await keep(request, answer.clone());
    return answer;
  });
  try {
    return (await (old ? Promise.race([fresh, late]) : fresh)) ?? (await fresh);
  } catch { return old ?? sorry(); }
};

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== location.origin) return;
  if (request.mode === "navigate") event.respondWith(page(request));
  else if (url.pathname.startsWith("/static/")) {
    event.respondWith(caches.open(SHELL_CACHE).then((shell) => shell.match(request)).then((found) => found ?? fetch(request)));
  }
});

// One after the other, with pauses, and not again within half an hour: the shop has other things to do.
const keepAhead = async (paths) => {
  const pages = await caches.open(PAGES);
  for (const path of paths) {
    const old = await pages.match(path), age = Date.now() - Date.parse(old?.headers.get("date") ?? 0);
    if (old && age < RENEW_MS) continue;
    const answer = await fetch(path, { headers: { Accept: "text/html" } }).catch(() => null);
    if (!answer || answer.status === 429 || answer.status >= 500) return;
    if (answer.ok && !answer.redirected) await keep(path, answer);
    await new Promise((resolve) => { setTimeout(resolve, PAUSE_MS); });
  }
};

// On the way out of a login nothing of the shop's pages stays on the phone; what waits to be sent does.
self.addEventListener("message", (event) => {
  if (event.data === "forget") event.waitUntil(caches.delete(PAGES));
  if (Array.isArray(event.data?.keep)) event.waitUntil(keepAhead(event.data.keep.filter((path) => cacheable(new URL(path, location.origin)))));
});
