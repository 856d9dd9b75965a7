// Is the whole card in the picture? Counts its black corner squares: dark rings with light cells inside, alike in size.
// A patterned ground may pass for squares: of 72 rendered photos with the whole card none was called cut, of 12 with a cut
// card 2 were not told, of 12 without any card all were. The shop's reader has the last word.
const ENOUGH = 5; // of the standard card's six: one may be dazzled or shaded
const LEAST = 9, MOST = 0.2; // a square's side: pixels, share of the picture's short side

// Darker than the mean of what lies around, by a share: shadows and lamps shift both.
const dark = ({ light, width, height }) => {
  const sums = new Float64Array((width + 1) * (height + 1)), reach = Math.round(Math.min(width, height) / 14);
  for (let y = 0; y < height; y++) for (let x = 0, row = 0; x < width; x++) {
    row += light[y * width + x];
    sums[(y + 1) * (width + 1) + x + 1] = sums[y * (width + 1) + x + 1] + row;
  }
  const ink = new Uint8Array(width * height);
  for (let y = 0; y < height; y++) for (let x = 0; x < width; x++) {
    const [l, t, r, b] = [Math.max(x - reach, 0), Math.max(y - reach, 0), Math.min(x + reach, width), Math.min(y + reach, height)];
    const sum = sums[b * (width + 1) + r] - sums[t * (width + 1) + r] - sums[b * (width + 1) + l] + sums[t * (width + 1) + l];
    ink[y * width + x] = light[y * width + x] < 0.75 * sum / ((r - l) * (b - t)) ? 1 : 0;
  }
  return ink;
};

// The connected spots of one kind (1 ink, 0 paper): box, area, extremes along the axes and the diagonals.
const spots = (ink, width, height, kind) => {
  const seen = new Uint8Array(ink.length), found = [], stack = [];
  for (let start = 0; start < ink.length; start++) {
    if (seen[start] || ink[start] !== kind) continue;
    const low = [1e9, 1e9, 1e9, 1e9], high = [-1e9, -1e9, -1e9, -1e9];
    let area = 0;
    seen[start] = 1;
    stack.push(start);
    while (stack.length) {
      const i = stack.pop(), x = i % width, y = (i - x) / width, along = [x, y, x + y, x - y];
      area++;
      for (let k = 0; k < 4; k++) { low[k] = Math.min(low[k], along[k]); high[k] = Math.max(high[k], along[k]); }
      for (const [j, inside] of [[i - 1, x > 0], [i + 1, x < width - 1], [i - width, y > 0], [i + width, y < height - 1]]) {
        if (inside && !seen[j] && ink[j] === kind) { seen[j] = 1; stack.push(j); }
      }
    }
    found.push({ area, low, high });
  }
  return found;
};

export const squaresOf = (grey) => {
  const { width, height } = grey, ink = dark(grey), most = MOST * Math.min(width, height);
  const wide = (spot) => spot.high[0] - spot.low[0] + 1, tall = (spot) => spot.high[1] - spot.low[1] + 1;
  const holes = spots(ink, width, height, 0).filter((spot) => wide(spot) < most && tall(spot) < most);
  return spots(ink, width, height, 1).filter((spot) => {
    const [w, h] = [wide(spot), tall(spot)];
    if (Math.min(w, h) < LEAST || Math.max(w, h) > 1.5 * most || w / h < 0.55 || w / h > 1.8) return false;
    if (spot.low[0] < 1 || spot.low[1] < 1 || spot.high[0] > width - 2 || spot.high[1] > height - 2) return false; // cut by the edge
    const within = holes.filter((hole) => [0, 1].every((k) => hole.low[k] > spot.low[k] && hole.high[k] < spot.high[k]));
    const light = within.reduce((sum, hole) => sum + hole.area, 0);
    spot.full = spot.area + light;
    // the box of a turned square is larger than the square, its diagonal box then the tighter one
    const box = Math.min(w * h, (spot.high[2] - spot.low[2] + 1) * (spot.high[3] - spot.low[3] + 1) / 2);
    return light > 0.06 * spot.full && light < 0.7 * spot.full && spot.full > 0.6 * box;
  });
};

// The most squares that are alike in size: the near edge of a tilted card shows them larger.
export const alike = (squares) => Math.max(0, ...squares.map(({ full }) => squares.filter((one) => one.full >= full && one.full < 2.6 * full).length));

export const wholeCard = (grey) => alike(squaresOf(grey)) >= ENOUGH;
