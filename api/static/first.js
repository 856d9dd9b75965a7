// Shows the photo before it is sent, says how far the sending is, and puts the answer in place.
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
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const button = event.submitter;
      const data = new FormData(form);
      if (button?.name) data.append(button.name, button.value);
      send(form, data);
    });
  }
};

start(document);
