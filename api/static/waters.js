// Strips in waters of known value: photos are read one by one, then all together make a table.
const form = document.querySelector("[data-waters]"), rows = form.querySelector(".rows"), told = form.querySelector(".told");
const found = document.querySelector(".found"), keep = document.querySelector("[data-keep]");
const units = JSON.parse(form.dataset.units);
const FIRST = 3;

const tell = (text) => { told.hidden = !text; told.textContent = text; };
const number = (text) => Number(String(text).trim().replace(",", "."));
const make = (tag, more) => Object.assign(document.createElement(tag), more);
const plain = (name) => (name === "ph" ? "pH" : name.replaceAll("_", " "));
let strip = "";

// Names of the analytes in the strip's file; what is wrong with it the shop will say.
const analytesOf = (text) => {
  const lines = text.replace(/^\uFEFF/, "").split(/\r?\n/).filter((line) => line.trim() && !line.startsWith("#"));
  const mark = [",", ";", "\t"].reduce((a, b) => ((lines[0] ?? "").split(b).length > (lines[0] ?? "").split(a).length ? b : a));
  const cells = (line) => (line.match(mark === "," ? /("([^"]|"")*"|[^,]*)(,|$)/g : new RegExp(`[^${mark}]*(${mark}|$)`, "g")) ?? [])
    .map((cell) => cell.replace(new RegExp(`${mark}$`), "").trim().replace(/^"|"$/g, ""));
  const place = cells(lines[0] ?? "").indexOf("analyte");
  return place < 0 ? [] : [...new Set(lines.slice(1).map((line) => cells(line)[place]).filter(Boolean))];
};

const fill = (row) => {
  const before = Object.fromEntries([...row.querySelectorAll(".known input")].map((input) => [input.name, input.value]));
  row.querySelector(".known").replaceChildren(...analytesOf(strip).map((name) => {
    const unit = units[name] && name !== "ph" ? `, ${units[name]}` : "";
    const label = make("label", { textContent: `${plain(name)}${unit} ` });
    label.append(make("input", { name, inputMode: "decimal", autocomplete: "off", value: before[name] ?? "" }));
    return label;
  }));
};
const addRow = () => {
  const row = document.querySelector("#water").content.cloneNode(true).firstElementChild;
  row.querySelector("legend").textContent = `Water ${rows.children.length + 1}`;
  fill(row);
  rows.append(row);
};
form.querySelector("[data-more]").addEventListener("click", addRow);
form.querySelector("[data-less]").addEventListener("click", () => { if (rows.children.length > 1) rows.lastElementChild.remove(); });

const choose = async () => {
  const chosen = form.elements.strip.selectedOptions[0], [file] = form.elements.pads.files;
  form.querySelector("[data-own]").hidden = Boolean(chosen.value);
  strip = chosen.value ? chosen.dataset.strip : file ? await file.text() : "";
  const lot = form.elements.goal.value === "lot";
  for (const part of form.querySelectorAll("[data-only-table]")) part.hidden = lot;
  [...rows.children].forEach(fill);
};
for (const name of ["goal", "strip", "pads"]) form.elements[name].addEventListener("change", choose);

const watersOf = () => [...rows.children].map((row) => ({
  photos: [...row.querySelector("[name=photos]").files],
  values: Object.fromEntries([...row.querySelectorAll(".known input")].filter((input) => input.value.trim()).map((input) => [input.name, number(input.value)])),
}));
const faultOf = (waters) => {
  if (!strip) return "Choose the strip, or its own file.";
  const wrong = waters.findIndex((water) => Object.values(water.values).some(Number.isNaN));
  if (wrong >= 0) return `Water ${wrong + 1}: a value is not a number; type figures such as 7.2.`;
  const bare = waters.findIndex((water) => water.photos.length && !Object.keys(water.values).length);
  if (bare >= 0) return `Water ${bare + 1}: type at least one value that is known.`;
  const none = waters.findIndex((water) => !water.photos.length && Object.keys(water.values).length);
  if (none >= 0) return `Water ${none + 1}: choose the photos of its strips.`;
  if (!waters.some((water) => water.photos.length)) return "Choose photos of strips.";
  if (form.elements.goal.value === "lot" && !form.elements.strip.value) return "A new lot is checked against a kept table: choose it as the strip.";
  return "";
};

const send = async (path, body, type) => {
  const answer = await fetch(path, { method: "POST", body, headers: type ? { "Content-Type": type } : {} }).catch(() => null);
  if (!answer) throw new Error("The shop cannot be reached; try again.");
  const said = await answer.json().catch(() => ({ detail: "The shop gave no answer; try again." }));
  if (!answer.ok) throw new Error(typeof said.detail === "string" ? said.detail : "The values cannot be used; look them over.");
  return said;
};
// What was read is kept while the page is open: a photo that fails at the end costs no one the ones before.
const done = new Map();
const readPhoto = async (file) => {
  const key = [strip, form.elements.card.value, file.name, file.size, file.lastModified].join("|");
  if (!done.has(key)) done.set(key, await readOne(file));
  return done.get(key);
};
const readOne = async (file) => {
  const data = new FormData();
  data.append("photo", file);
  data.append("strip", strip);
  if (form.elements.card.value) data.append("card", form.elements.card.value);
  return send("/api/waters/photo", data);
};

const swatch = (photo, pad) => {
  const one = make("figure", { className: "swatch" });
  one.innerHTML = "<svg viewBox='0 0 10 10' preserveAspectRatio='none' aria-hidden='true'><rect width='10' height='10'/></svg>";
  one.querySelector("rect").setAttribute("fill", pad.hex);
  one.append(make("figcaption", { textContent: `${photo}, ${plain(pad.analyte)}` }));
  return one;
};
const show = (answer, troubles, reads) => {
  const checked = answer.check;
  const said = [
    ...(checked ? [`This table is ${checked.verdict}.`, ...checked.faults.map((fault) => fault.sentence)] : answer.told),
    ...(answer.set_aside ?? []).map((text) => `Set aside: ${text}`), ...(answer.notes ?? []), ...troubles,
  ];
  found.querySelector(".said").replaceChildren(...said.map((textContent) => make("li", { textContent })));
  found.querySelector(".paths").replaceChildren(...Object.entries(answer.pictures ?? {}).map(([pad, src]) => {
    const figure = make("figure");
    figure.append(make("img", { src, alt: `Pad ${pad}: the path of its colours in CIELAB` }));
    return figure;
  }));
  found.querySelector(".swatches").replaceChildren(...reads.flatMap((read) => read.pads.filter((pad) => pad.hex).map((pad) => swatch(read.photo, pad))));
  found.querySelector("[data-colours]").hidden = false;
  keep.hidden = !answer.table;
  if (answer.table) {
    const files = new DataTransfer();
    files.items.add(new File([answer.table], "from-waters.csv", { type: "text/csv" }));
    keep.elements.file.files = files.files;
    keep.elements.name.value ||= form.elements.lot.value || form.elements.strip.value;
  }
  found.hidden = false;
  found.scrollIntoView();
};

const work = async () => {
  const waters = watersOf(), fault = faultOf(waters);
  if (fault) { tell(fault); return; }
  const count = waters.reduce((sum, water) => sum + water.photos.length, 0), dips = [], troubles = [], reads = [];
  for (const water of waters) {
    for (const file of water.photos) {
      tell(`Reading photo ${reads.length + 1} of ${count}.`);
      const read = await readPhoto(file);
      reads.push(read);
      const usable = read.pads.filter((pad) => pad.lab && pad.analyte in water.values);
      troubles.push(...new Set(read.pads.filter((pad) => !pad.lab && pad.analyte in water.values).map((pad) => pad.trouble)));
      dips.push({ photo: read.photo, sha256: read.sha256, values: water.values, pads: usable.map(({ pad, lab }) => ({ pad, lab })) });
    }
  }
  const body = { strip, dips };
  if (form.elements.goal.value === "lot") body.against = form.elements.strip.value;
  else Object.assign(body, { lot: form.elements.lot.value.trim() || null, expires: form.elements.expires.value || null });
  tell("Putting them together.");
  show(await send("/api/waters", JSON.stringify(body), "application/json"), troubles, reads);
  tell("");
};
form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const go = form.querySelector(".go");
  go.disabled = true;
  await work().catch((fault) => tell(fault.message));
  go.disabled = false;
});

await choose();
for (let i = 0; i < FIRST; i += 1) addRow();
