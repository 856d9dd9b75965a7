// A form whose answer takes a while says how far the sending is and how long the work has run.
const FORM = "form[data-slow]";

const line = (form) => form.querySelector(".progress") ?? form.appendChild(Object.assign(document.createElement("p"), { className: "progress", role: "status" }));

const say = (form, text) => {
  const place = line(form);
  place.hidden = !text;
  if (place.textContent !== text) place.textContent = text;
};

const arrive = (request) => {
  const page = request.response, main = page?.querySelector("main");
  if (!main) return false;
  if (request.status < 400) { location.assign(request.responseURL); return true; }
  document.querySelector("main").replaceWith(main); // the same form with what was wrong; its files are chosen anew
  start();
  main.querySelector("[role=alert]")?.scrollIntoView({ block: "center" });
  return true;
};

const send = (form) => {
  const request = new XMLHttpRequest(), began = Date.now();
  let timer = null;
  const busy = (on) => { for (const button of form.querySelectorAll("button")) button.disabled = on; if (!on) clearInterval(timer); };
  const work = () => {
    const tick = () => { const s = Math.round((Date.now() - began) / 5000) * 5; say(form, `${form.dataset.slow}${s ? `: ${s} s so far` : ""}`); };
    if (timer === null) { tick(); timer = setInterval(tick, 1000); }
  };
  request.open("POST", form.action);
  request.responseType = "document";
  request.upload.onprogress = ({ lengthComputable, loaded, total }) => lengthComputable && loaded < total && say(form, `Sending: ${Math.round((100 * loaded) / total)} %`);
  request.upload.onload = work;
  request.onload = () => { busy(false); if (!arrive(request)) say(form, "The shop could not answer; nothing was kept, try again."); };
  request.onerror = () => { busy(false); say(form, "The shop cannot be reached; nothing was kept, try again."); };
  busy(true);
  say(form, "Sending");
  request.send(new FormData(form));
};

const start = () => {
  for (const form of document.querySelectorAll(FORM)) form.addEventListener("submit", (event) => { event.preventDefault(); send(form); });
};

start();
