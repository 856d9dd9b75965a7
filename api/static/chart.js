// A grid over the printed chart: four corners to drag, one row for each pad, values typed beside it.
const form = document.querySelector("[data-chart]"), over = form.querySelector(".over"), canvas = form.querySelector("canvas");
const rows = form.querySelector(".rows"), told = form.querySelector(".told"), found = document.querySelector(".found");
const keep = document.querySelector("[data-keep]"), pen = canvas.getContext("2d");
const REACH = 36, GLASS = 54, ZOOM = 3;
let image = null, chosen = 0, dragged = -1, grasp = [0, 0];
let corners = [[0.2, 0.2], [0.8, 0.2], [0.8, 0.8], [0.2, 0.8]];

const tell = (text) => { told.hidden = !text; told.textContent = text; };
const number = (text) => Number(String(text).trim().replace(",", "."));
const plain = (name) => (name === "ph" ? "pH" : name.replaceAll("_", " "));
const field = (row, name) => row.querySelector(`[name=${name}]`);
// Parted by blanks or semicolons, or by commas where no comma can be a decimal one.
const partsOf = (text) => (/[;\s]/.test(text.trim()) && !/,\s/.test(text) ? text.split(/[;\s]+/) : text.split(/[,;\s]+/)).filter(Boolean);
const valuesOf = (row) => partsOf(field(row, "values").value).map(number);
const columns = () => Math.max(2, ...[...rows.children].map((row) => valuesOf(row).length || 6));

const mix = (a, b, share) => a.map((part, i) => part + share * (b[i] - part));
// A plane seen askew: places on it follow the projective map of the four corners.
const plane = ([p, q, r, s]) => {
  const [dx1, dy1, dx2, dy2] = [q[0] - r[0], q[1] - r[1], s[0] - r[0], s[1] - r[1]];
  const [sx, sy] = [p[0] - q[0] + r[0] - s[0], p[1] - q[1] + r[1] - s[1]];
  const by = dx1 * dy2 - dx2 * dy1;
  const g = (sx * dy2 - dx2 * sy) / by, h = (dx1 * sy - sx * dy1) / by;
  return (u, v) => {
    const w = g * u + h * v + 1;
    return [(p[0] + u * (q[0] - p[0] + g * q[0]) + v * (s[0] - p[0] + h * s[0])) / w,
      (p[1] + u * (q[1] - p[1] + g * q[1]) + v * (s[1] - p[1] + h * s[1])) / w];
  };
};
const boxes = () => {
  const at = plane(corners), all = [...rows.children], across = columns();
  return all.map((row, i) => Array.from({ length: across }, (_, j) => [[j, i], [j + 1, i], [j + 1, i + 1], [j, i + 1]]
    .map(([x, y]) => at(x / across, y / all.length))));
};

const there = ([x, y]) => [x * canvas.width, y * canvas.height];
const path = (points, style, width, open) => {
  pen.beginPath();
  points.forEach((point, i) => (i ? pen.lineTo : pen.moveTo).apply(pen, there(point)));
  if (!open) pen.closePath();
  Object.assign(pen, { strokeStyle: style, lineWidth: width, lineJoin: "round" });
  pen.stroke();
};
const arrow = (fine) => {
  const along = [0, 1].map((i) => corners[1][i] - corners[0][i]);
  const up = [0, 1].map((i) => corners[0][i] - corners[3][i]), far = Math.hypot(up[0] * canvas.width, up[1] * canvas.height) || 1;
  const off = up.map((part) => part * 20 * fine / far);
  const [from, to] = [0.08, 0.5].map((share) => corners[0].map((part, i) => part + share * along[i] + off[i]));
  const long = Math.hypot(along[0] * canvas.width, along[1] * canvas.height) || 1, head = 11 * fine / long;
  const wing = (side) => to.map((part, i) => part - head * along[i] + side * 0.4 * off[i]);
  for (const [style, width] of [["#0d1f1d", 6 * fine], ["#ffd84d", 3 * fine]]) {
    path([from, to], style, width, true); path([wing(1), to, wing(-1)], style, width, true);
  }
};
const sketch = (fine) => {
  pen.drawImage(image, 0, 0, canvas.width, canvas.height);
  boxes().forEach((line, i) => {
    const count = valuesOf(rows.children[i]).length || line.length;
    line.slice(0, count).forEach((box) => {
      const middle = mix(box[0], box[2], 0.5), inner = box.map((corner) => mix(middle, corner, 0.5));
      path(box, "#0d1f1d", 2.5 * fine); path(box, "#ffd84d", 1.2 * fine); path(inner, "#0d1f1d", 1.6 * fine); path(inner, "#ffffff", 0.8 * fine);
    });
  });
  arrow(fine);
};
// While a corner is dragged the finger hides it: what lies under it is shown large, at the other side.
const glass = (fine) => {
  const [x, y] = there(corners[dragged]), radius = GLASS * fine, pad = radius + 6 * fine;
  const centre = [x < canvas.width / 2 ? canvas.width - pad : pad, y < canvas.height / 2 ? canvas.height - pad : pad];
  pen.save();
  pen.beginPath(); pen.arc(...centre, radius, 0, 7); pen.clip();
  pen.fillStyle = "#fff"; pen.fillRect(centre[0] - radius, centre[1] - radius, 2 * radius, 2 * radius);
  pen.translate(centre[0] - ZOOM * x, centre[1] - ZOOM * y); pen.scale(ZOOM, ZOOM);
  sketch(fine / ZOOM);
  pen.restore();
  pen.beginPath(); pen.arc(...centre, radius, 0, 7);
  Object.assign(pen, { strokeStyle: "#0d1f1d", lineWidth: 3 * fine }); pen.stroke();
  for (const [dx, dy] of [[1, 0], [0, 1]]) {
    pen.beginPath(); pen.moveTo(centre[0] - 9 * fine * dx, centre[1] - 9 * fine * dy); pen.lineTo(centre[0] + 9 * fine * dx, centre[1] + 9 * fine * dy);
    Object.assign(pen, { strokeStyle: "#9c1030", lineWidth: 1.5 * fine }); pen.stroke();
  }
};
const draw = () => {
  if (!image) return;
  // Drawn for the eye, whatever the photo's size.
  const fine = canvas.width / (canvas.clientWidth || canvas.width);
  sketch(fine);
  corners.forEach((corner, i) => {
    const [x, y] = there(corner);
    pen.beginPath();
    pen.arc(x, y, 13 * fine, 0, 7);
    Object.assign(pen, { fillStyle: i === dragged ? "#ffd84d66" : i === chosen ? "#ffd84d" : "#fffef8", strokeStyle: "#0d1f1d", lineWidth: 2.5 * fine });
    pen.fill(); pen.stroke();
    Object.assign(pen, { fillStyle: "#0d1f1d", font: `bold ${15 * fine}px system-ui, sans-serif`, textAlign: "center", textBaseline: "middle" });
    if (i !== dragged) pen.fillText(String(i + 1), x, y + fine);
  });
  if (dragged >= 0) glass(fine);
};

const says = (row) => {
  const [s, mm] = ["read_after_s", "centre_mm"].map((name) => field(row, name).value);
  row.querySelector("output").textContent = `${s} s; middle ${mm || "?"} mm from the tip`;
};
const clear = (input) => {
  input.removeAttribute("aria-invalid");
  input.parentElement.querySelector(".wrong")?.remove();
};
const wrong = (input, text) => {
  clear(input);
  input.setAttribute("aria-invalid", "true");
  input.parentElement.append(Object.assign(document.createElement("span"), { className: "wrong", textContent: text }));
  input.closest("details")?.setAttribute("open", "");
  return input;
};
form.addEventListener("input", (event) => { clear(event.target); tell(""); });

const addRow = (known) => {
  const row = document.querySelector("#row").content.cloneNode(true).firstElementChild;
  const place = rows.children.length + 1, last = rows.lastElementChild;
  row.querySelector("legend").textContent = `Row ${place}: pad ${place}`;
  if (last) for (const name of ["read_after_s", "size_mm"]) field(row, name).value = field(last, name).value;
  if (known) {
    for (const name of ["analyte", "read_after_s", "centre_mm", "size_mm"]) field(row, name).value = known[name];
    field(row, "values").value = known.values.join("  ");
  }
  row.querySelector("details").open = !known;
  row.addEventListener("input", () => { says(row); draw(); });
  rows.append(row);
  says(row);
  draw();
};
form.querySelector("[data-more]").addEventListener("click", () => addRow());
form.querySelector("[data-less]").addEventListener("click", () => { if (rows.children.length > 1) rows.lastElementChild.remove(); draw(); });
form.elements.like.addEventListener("change", () => {
  const { chart } = form.elements.like.selectedOptions[0].dataset;
  if (!chart) return;
  const known = JSON.parse(chart);
  form.elements.strip.value = known.strip;
  clear(form.elements.strip);
  rows.replaceChildren();
  known.pads.forEach(addRow);
});

form.elements.photo.addEventListener("change", async () => {
  const [file] = form.elements.photo.files;
  if (!file) return;
  try { image = await createImageBitmap(file); } catch { wrong(form.elements.photo, "This browser cannot show this photo; save it as JPEG first."); return; }
  const wide = Math.min(1600, image.width);
  Object.assign(canvas, { width: wide, height: Math.round(wide * image.height / image.width) });
  over.hidden = false;
  draw();
});

const at = (event) => {
  const box = canvas.getBoundingClientRect();
  return [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height];
};
const clamp = ([x, y]) => [Math.min(Math.max(x, 0), 1), Math.min(Math.max(y, 0), 1)];
canvas.addEventListener("pointerdown", (event) => {
  const box = canvas.getBoundingClientRect(), here = at(event);
  const apart = corners.map(([x, y]) => Math.hypot((x - here[0]) * box.width, (y - here[1]) * box.height));
  const near = apart.indexOf(Math.min(...apart));
  if (apart[near] > REACH) return;
  dragged = chosen = near;
  grasp = corners[near].map((part, i) => part - here[i]);
  canvas.setPointerCapture(event.pointerId);
  event.preventDefault();
  draw();
});
// Off the corners a finger moves the page, as anywhere.
canvas.addEventListener("touchstart", (event) => { if (dragged >= 0) event.preventDefault(); }, { passive: false });
canvas.addEventListener("pointermove", (event) => { if (dragged >= 0) { corners[dragged] = clamp(at(event).map((part, i) => part + grasp[i])); draw(); } });
for (const end of ["pointerup", "pointercancel"]) canvas.addEventListener(end, () => { dragged = -1; draw(); });
canvas.addEventListener("keydown", (event) => {
  const moves = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
  if ("1234".includes(event.key)) chosen = Number(event.key) - 1;
  else if (moves) {
    const stride = event.shiftKey ? 0.02 : 0.002;
    corners[chosen] = clamp([corners[chosen][0] + stride * moves[0], corners[chosen][1] + stride * moves[1]]);
    event.preventDefault();
  }
  draw();
});

const faultsOf = () => {
  const faults = [];
  const want = (input, good, text) => { if (!good) faults.push(wrong(input, text)); };
  const { photo, strip, lot } = form.elements;
  want(photo, photo.files.length && image, "Choose the photo first.");
  for (const [input, what] of [[strip, "the strip's name"], [lot, "its lot"]]) {
    want(input, input.value.trim() && !/[,"\r\n]/.test(input.value), `Type ${what}, without commas or quotes.`);
  }
  for (const row of rows.children) {
    const values = valuesOf(row);
    const typed = values.length >= 2 && !values.some(Number.isNaN);
    want(field(row, "values"), typed, "Type at least two values, such as 0 1 3.");
    if (typed) want(field(row, "values"), new Set(values).size === values.length, "A value stands there twice.");
    for (const [name, least] of [["read_after_s", 0], ["centre_mm", 0.1], ["size_mm", 0.1]]) {
      const value = number(field(row, name).value || "x");
      want(field(row, name), value >= least, "Type a number.");
    }
  }
  return faults;
};
const gridOf = () => {
  const cells = boxes();
  return {
    strip: form.elements.strip.value, lot: form.elements.lot.value,
    rows: [...rows.children].map((row, i) => {
      const what = field(row, "analyte").selectedOptions[0];
      return {
        pad: i + 1, analyte: what.value, unit: what.dataset.unit, read_after_s: number(field(row, "read_after_s").value),
        centre_mm: number(field(row, "centre_mm").value), size_mm: number(field(row, "size_mm").value),
        blocks: valuesOf(row).map((value, j) => ({ value, corners: cells[i][j] })),
      };
    }),
  };
};

const SVG = "<svg viewBox='0 0 10 10' preserveAspectRatio='none' aria-hidden='true'><rect width='10' height='10'/></svg>";
const make = (tag, more) => Object.assign(document.createElement(tag), more);
const bar = (row, i, blocks) => {
  const one = make("div", { className: "bar" }), list = make("ol");
  one.append(make("h3", { textContent: `Pad ${i + 1}: ${plain(field(row, "analyte").value)}` }), list);
  for (const block of blocks) {
    const item = make("li", { innerHTML: SVG, className: block.hex ? "" : "none", title: block.lab ? `L a b ${block.lab.map((part) => part.toFixed(1)).join(" ")}` : block.why });
    item.querySelector("rect").setAttribute("fill", block.hex ?? "#ffffff");
    item.append(block.hex ? String(block.value) : `${block.value} ?`);
    list.append(item);
  }
  for (const block of blocks.filter((each) => each.why)) one.append(make("p", { textContent: `${block.value}: ${block.why}` }));
  return one;
};
const show = (answer) => {
  const said = answer.card.found ? answer.trouble ?? "" : "No card was found in the photo: lay the card whole beside the chart.";
  const [line] = [...found.querySelectorAll(".said")];
  const spoiled = answer.blocks.some((block) => !block.lab) ? " Blocks without a colour are left out of the table." : "";
  const asks = `Do they run as on the bottle? If not, move the grid or mend the values.${spoiled}`;
  Object.assign(line, { textContent: said || asks, className: said ? "said trouble" : "said" });
  found.querySelector(".bars").replaceChildren(...(answer.blocks.length ? [...rows.children] : [])
    .map((row, i) => bar(row, i, answer.blocks.filter((block) => block.pad === i + 1))));
  found.hidden = false;
  keep.hidden = !answer.table;
  if (answer.table) {
    const files = new DataTransfer();
    files.items.add(new File([answer.table], "from-chart.csv", { type: "text/csv" }));
    keep.elements.file.files = files.files;
    keep.elements.name.value ||= `${form.elements.strip.value} ${form.elements.lot.value}`;
  }
  tell("");
  found.scrollIntoView();
  found.focus({ preventScroll: true });
};

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const [first] = faultsOf();
  if (first) { tell("Something is missing: see the fields marked."); first.focus(); first.scrollIntoView({ block: "center" }); return; }
  const data = new FormData(), go = form.querySelector(".go");
  data.append("photo", form.elements.photo.files[0]);
  data.append("grid", JSON.stringify(gridOf()));
  if (form.elements.card.value) data.append("card", form.elements.card.value);
  tell("Reading the blocks.");
  go.disabled = true;
  const answer = await fetch("/api/chart", { method: "POST", body: data }).catch(() => null);
  go.disabled = false;
  if (!answer) { tell("The shop cannot be reached; try again."); return; }
  const body = await answer.json().catch(() => ({ detail: "The shop gave no answer; try again." }));
  if (answer.ok) show(body);
  else tell(typeof body.detail === "string" ? body.detail : "The grid cannot be used; look the values over.");
});

addRow();
