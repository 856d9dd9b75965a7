// What can be said of a photo before it is sent: too dark, burnt out, blurred, too small, cut off. Hints, never verdicts.
import { wholeCard } from "./whole_card.js";

const SIDE = 640;

const grey = async (file) => {
  const image = await createImageBitmap(file, { resizeWidth: SIDE, resizeQuality: "medium" });
  const canvas = Object.assign(document.createElement("canvas"), { width: image.width, height: image.height });
  const pen = canvas.getContext("2d", { willReadFrequently: true });
  pen.drawImage(image, 0, 0);
  const { data, width, height } = pen.getImageData(0, 0, image.width, image.height);
  const light = new Float32Array(width * height);
  for (let i = 0; i < light.length; i++) light[i] = 0.3 * data[4 * i] + 0.6 * data[4 * i + 1] + 0.1 * data[4 * i + 2];
  return { light, width, height };
};

// The strongest steps between neighbours, against the picture's own span of light: a sharp card has steep ones.
const steepest = ({ light, width, height }) => {
  const steps = [];
  for (let y = 1; y < height; y++) for (let x = 1; x < width; x++) {
    const i = y * width + x;
    steps.push(Math.abs(light[i] - light[i - 1]));
  }
  steps.sort((a, b) => a - b);
  const sorted = Float32Array.from(light).sort();
  const span = sorted[Math.floor(0.98 * sorted.length)] - sorted[Math.floor(0.02 * sorted.length)];
  return steps[Math.floor(0.995 * steps.length)] / Math.max(span, 1);
};

export const framing = async (file) => {
  let seen;
  try {
    const whole = await createImageBitmap(file);
    if (Math.min(whole.width, whole.height) < 700) return ["The photo is small: use the camera's full size."];
    whole.close();
    seen = await grey(file);
  } catch { return []; } // a format this browser cannot open; the shop can
  const hints = [];
  const sorted = Float32Array.from(seen.light).sort();
  const bright = sorted[Math.floor(0.9 * sorted.length)];
  const burnt = seen.light.reduce((sum, light) => sum + (light > 252), 0) / seen.light.length;
  if (bright < 90) hints.push("It looks dark: go to a window's shade, or lighten up.");
  if (burnt > 0.12) hints.push("It looks burnt out: step into the shade, no flash.");
  if (steepest(seen) < 0.16) hints.push("It looks blurred: hold still, tap on the card to focus.");
  if (!wholeCard(seen)) hints.push("I cannot see the whole card: step back until all its black squares are in the picture, with room around.");
  return hints;
};
