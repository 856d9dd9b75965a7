// Shows the photo before it is sent, says how far the sending is, and puts the answer in place.
import { span, stamp } from "./moments.js";

const KEPT = "dipstep-first-dip", OLD_MS = 30 * 60_000;

// The dip's moment outlives a page that the phone drops while the camera is open.
const dippedAt = () => { try { const at = Number(sessionStorage.getItem(KEPT)); return at && Date.now() - at < OLD_MS ? at : null; } catch { return null; } };
const keepDip = (at) => { try { if (at) sessionStorage.setItem(KEPT, String(at)); else sessionStorage.removeItem(KEPT); } catch { /* a private window keeps nothing */ } };

const since = (form) => {
  const line = form.querySelector(".since");
  if (!line) return;
  const [button, told] = line.children;
  const tick = () => {
    const at = dippedAt();
    told.hidden = !at;
    button.textContent = at ? "Dipped again" : "It is in the water now";
    if (at) told.querySelector(".clock").textContent = span(Date.now() - at);
  };
  button.addEventListener("click", () => { keepDip(Date.now()); tick(); });
  const timer = setInterval(() => (line.isConnected ? tick() : clearInterval(timer)), 500);
  tick();
};

const busy = (form, text) => {
  const line = form.querySelector(".progress");
  line.hidden = !text;
  line.textContent = text;
  for (const button of form.querySelectorAll("button")) button.disabled = Boolean(text);
};

const tell = (form, text) => {
  busy(form, "");
  const line = form.querySelector(".progress");
  line.hidden = false;
  line.textContent = text;
};

const preview = (form) => {
  const input = form.querySelector("input[name=photo]");
  const image = form.querySelector(".preview");
  if (!input || !image) return;
  input.addEventListener("change", () => {
    const [file] = input.files;
    if (image.src) URL.revokeObjectURL(image.src);
    image.hidden = !file;
    if (!file) return;
    image.src = URL.createObjectURL(file);
    image.onerror = () => { image.hidden = true; }; // a format this browser cannot show
  });
};

const send = (form, data) => {
  const request = new XMLHttpRequest();
  request.open("POST", form.action);
  request.responseType = "document";
  request.upload.addEventListener("progress", (event) => {
    const share = event.lengthComputable ? Math.round((100 * event.loaded) / event.total) : 0;
    busy(form, share < 100 ? `Sending: ${share} %` : "Reading the strip");
  });
  request.addEventListener("load", () => {
    const main = request.response?.querySelector("main");
    if (!main) { tell(form, "The service could not answer; the photo is still here, send it again."); return; }
    document.querySelector("main").replaceWith(main);
    if (request.status < 400) keepDip(null);
    start(main);
    main.scrollIntoView();
  });
  request.addEventListener("error", () => {
    tell(form, "The service cannot be reached; the photo is still here, send it again.");
  });
  busy(form, "Sending");
  request.send(data);
};

const start = (root) => {
  for (const form of root.querySelectorAll("form[data-reading]")) {
    preview(form);
    since(form);
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const button = event.submitter;
      const data = new FormData(form);
      const at = dippedAt();
      if (at && data.has("photo") && !data.get("elapsed_s")) data.append("dipped_at", stamp(at));
      if (button?.name) data.append(button.name, button.value);
      send(form, data);
    });
  }
};

start(document);
