// A grid over the printed chart: four corners to drag, one row for each pad, values typed beside it.
const form = document.querySelector("[data-chart]"), canvas = form.querySelector("canvas"), rows = form.querySelector(".rows");
const told = form.querySelector(".told"), found = document.querySelector(".found"), keep = document.querySelector("[data-keep]");
const pen = canvas.getContext("2d");
const REACH = 28;
let image = null, chosen = 0, dragged = -1;
let corners = [[0.2, 0.2], [0.8, 0.2], [0.8, 0.8], [0.2, 0.8]];

const tell = (text) => { told.hidden = !text; told.textContent = text; };
const number = (text) => Number(String(text).trim().replace(",", "."));
const valuesOf = (row) => row.querySelector("[name=values]").value.split(/[;,\s]+/).filter(Boolean).map(number);

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
  const at = plane(corners), all = [...rows.children], columns = Math.max(2, number(form.elements.columns.value) || 2);
  return all.map((row, i) => Array.from({ length: columns }, (_, j) => [[j, i], [j + 1, i], [j + 1, i + 1], [j, i + 1]]
    .map(([x, y]) => at(x / columns, y / all.length))));
};

const draw = () => {
  if (!image) return;
  // Drawn for the eye, whatever the photo's size.
  const fine = canvas.width / (canvas.clientWidth || canvas.width);
  pen.drawImage(image, 0, 0, canvas.width, canvas.height);
  const there = ([x, y]) => [x * canvas.width, y * canvas.height];
  const path = (points, style, width) => {
    pen.beginPath();
    points.forEach((point, i) => (i ? pen.lineTo : pen.moveTo).apply(pen, there(point)));
    pen.closePath();
    Object.assign(pen, { strokeStyle: style, lineWidth: width });
    pen.stroke();
  };
  boxes().forEach((line, i) => {
    const count = valuesOf(rows.children[i]).length || line.length;
    line.slice(0, count).forEach((box) => {
      const middle = mix(box[0], box[2], 0.5), inner = box.map((corner) => mix(middle, corner, 0.5));
      path(box, "#0d1f1d", 4 * fine); path(box, "#ffd84d", 2 * fine); path(inner, "#ffffff", 1.5 * fine);
    });
  });
  corners.forEach((corner, i) => {
    const [x, y] = there(corner);
    pen.beginPath();
    pen.arc(x, y, 11 * fine, 0, 7);
    Object.assign(pen, { fillStyle: i === chosen ? "#ffd84d" : "#fffef8", strokeStyle: "#0d1f1d", lineWidth: 3 * fine });
    pen.fill(); pen.stroke();
  });
};

const addRow = () => {
  const row = document.querySelector("#row").content.cloneNode(true).firstElementChild;
  const place = rows.children.length + 1;
  row.querySelector("legend").textContent = `Row ${place}: pad ${place}`;
  row.querySelector("[name=centre_mm]").value = 4 + 8 * (place - 1);
  row.addEventListener("input", draw);
  rows.append(row);
  draw();
};
form.querySelector("[data-more]").addEventListener("click", addRow);
form.querySelector("[data-less]").addEventListener("click", () => { if (rows.children.length > 1) rows.lastElementChild.remove(); draw(); });
form.elements.columns.addEventListener("input", draw);

form.elements.photo.addEventListener("change", async () => {
  const [file] = form.elements.photo.files;
  if (!file) return;
  try { image = await createImageBitmap(file); } catch { tell("This browser cannot show this photo; save it as JPEG first."); return; }
  const wide = Math.min(1400, image.width);
  Object.assign(canvas, { width: wide, height: Math.round(wide * image.height / image.width), hidden: false });
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
  canvas.setPointerCapture(event.pointerId);
  event.preventDefault();
  draw();
});
canvas.addEventListener("pointermove", (event) => { if (dragged >= 0) { corners[dragged] = clamp(at(event)); draw(); } });
for (const end of ["pointerup", "pointercancel"]) canvas.addEventListener(end, () => { dragged = -1; });
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

const gridOf = () => {
  const cells = boxes();
  return {
    strip: form.elements.strip.value, lot: form.elements.lot.value,
    rows: [...rows.children].map((row, i) => {
      const field = (name) => row.querySelector(`[name=${name}]`), chosenWhat = field("analyte").selectedOptions[0];
      return {
        pad: i + 1, analyte: chosenWhat.value, unit: chosenWhat.dataset.unit, read_after_s: number(field("read_after_s").value),
        centre_mm: number(field("centre_mm").value), size_mm: number(field("size_mm").value),
        blocks: valuesOf(row).slice(0, cells[i].length).map((value, j) => ({ value, corners: cells[i][j] })),
      };
    }),
  };
};

const show = (answer) => {
  const swatches = answer.blocks.map((block) => {
    const one = document.createElement("figure");
    one.className = "swatch";
    one.innerHTML = "<svg viewBox='0 0 10 10' preserveAspectRatio='none' aria-hidden='true'><rect width='10' height='10'/></svg>";
    one.querySelector("rect").setAttribute("fill", block.hex ?? "#ffffff");
    const words = block.lab ? block.lab.map((part) => part.toFixed(1)).join(" ") : block.reasons.join(", ").replaceAll("_", " ");
    one.append(Object.assign(document.createElement("figcaption"), { textContent: `pad ${block.pad}: ${block.value} (${words})` }));
    return one;
  });
  found.querySelector(".swatches").replaceChildren(...swatches);
  found.hidden = false;
  keep.hidden = !answer.table;
  if (answer.table) {
    const files = new DataTransfer();
    files.items.add(new File([answer.table], "from-chart.csv", { type: "text/csv" }));
    keep.elements.file.files = files.files;
    keep.elements.name.value ||= `${form.elements.strip.value} ${form.elements.lot.value}`;
  }
  tell(answer.card.found ? answer.trouble ?? "" : "No card was found in the photo: lay the card whole beside the chart.");
  found.scrollIntoView();
};

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const grid = gridOf();
  const bad = grid.rows.findIndex((row) => row.blocks.length < 2 || row.blocks.some((block) => Number.isNaN(block.value)));
  if (bad >= 0) { tell(`Row ${bad + 1}: type at least two values, such as 0, 1, 3.`); return; }
  const data = new FormData();
  data.append("photo", form.elements.photo.files[0]);
  data.append("grid", JSON.stringify(grid));
  if (form.elements.card.value) data.append("card", form.elements.card.value);
  tell("Reading the blocks.");
  const answer = await fetch("/api/chart", { method: "POST", body: data }).catch(() => null);
  if (!answer) { tell("The shop cannot be reached; try again."); return; }
  const body = await answer.json();
  if (answer.ok) show(body);
  else tell(body.detail);
});

addRow();
