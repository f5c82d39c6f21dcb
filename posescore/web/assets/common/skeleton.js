// Both skeletons over the footage. A and B differ in colour, in the kind of line (solid, dashed), in
// the shape of the points (round, square) and by a letter. What is seen badly is fainter and hollow.

import { WHOLE } from "./closer.js";

/**
 * @typedef {{colour: string, dash: number[], square: boolean}} Look
 * @typedef {import("./track.js").Point} Point
 * @typedef {CanvasRenderingContext2D} Pen
 */

/** @type {{A: Look, B: Look}} */
const LOOKS = {
  A: { colour: "#ffa544", dash: [], square: false },
  B: { colour: "#58ccff", dash: [8, 5], square: true },
};

const SURE_ENOUGH = 0.5;
const HEAD = [0, 1, 2, 3, 4, 5, 6];

/**
 * @param {HTMLCanvasElement} canvas
 * @param {{A: Point[], B: Point[]} | null} pair
 * @param {[number, number][]} bones pairs of keypoints
 * @param {{A: boolean, B: boolean}} shown
 * @param {import("./closer.js").View} [view] the part of the picture that is shown
 */
export function drawSkeletons(canvas, pair, bones, shown, view = WHOLE) {
  const scale = window.devicePixelRatio || 1;
  const width = canvas.clientWidth;
  const height = canvas.clientHeight;
  if (canvas.width !== Math.round(width * scale) || canvas.height !== Math.round(height * scale)) {
    canvas.width = Math.round(width * scale);
    canvas.height = Math.round(height * scale);
  }
  const pen = /** @type {Pen} */ (canvas.getContext("2d"));
  pen.setTransform(scale, 0, 0, scale, 0, 0);
  pen.clearRect(0, 0, width, height);
  if (!pair) return;
  const unit = Math.max(1, Math.min(width, height) / 360);
  for (const athlete of /** @type {Athlete[]} */ (["A", "B"])) {
    if (!shown[athlete]) continue;
    const placed = pair[athlete].map((p) => p && {
      x: ((p.x - view.x) * view.times + 0.5) * width, y: ((p.y - view.y) * view.times + 0.5) * height, sure: p.sure,
    });
    drawBones(pen, placed, bones, LOOKS[athlete], unit);
    drawPoints(pen, placed, LOOKS[athlete], unit);
    drawLetter(pen, placed, athlete, unit);
  }
  pen.globalAlpha = 1;
}

/**
 * @param {Pen} pen
 * @param {Point[]} placed pixels
 * @param {[number, number][]} bones
 * @param {Look} look
 * @param {number} unit
 */
function drawBones(pen, placed, bones, look, unit) {
  pen.lineCap = "round";
  for (const [from, to] of bones) {
    const a = placed[from];
    const b = placed[to];
    if (!a || !b) continue;
    pen.globalAlpha = 0.3 + 0.7 * Math.min(a.sure, b.sure);
    for (const { colour, width } of [{ colour: "rgba(10, 14, 16, 0.7)", width: 4.4 }, { colour: look.colour, width: 2.2 }]) {
      pen.strokeStyle = colour;
      pen.lineWidth = width * unit;
      pen.setLineDash(look.dash.map((part) => part * unit));
      pen.beginPath();
      pen.moveTo(a.x, a.y);
      pen.lineTo(b.x, b.y);
      pen.stroke();
    }
  }
  pen.setLineDash([]);
}

/**
 * @param {Pen} pen
 * @param {Point[]} placed
 * @param {Look} look
 * @param {number} unit
 */
function drawPoints(pen, placed, look, unit) {
  const r = 2.6 * unit;
  for (const p of placed) {
    if (!p) continue;
    pen.globalAlpha = 0.45 + 0.55 * p.sure;
    pen.beginPath();
    if (look.square) pen.rect(p.x - r, p.y - r, 2 * r, 2 * r);
    else pen.arc(p.x, p.y, r, 0, 2 * Math.PI);
    pen.fillStyle = p.sure >= SURE_ENOUGH ? look.colour : "rgba(10, 14, 16, 0.55)";
    pen.strokeStyle = p.sure >= SURE_ENOUGH ? "rgba(10, 14, 16, 0.8)" : look.colour;
    pen.lineWidth = 1.2 * unit;
    pen.fill();
    pen.stroke();
  }
}

/**
 * @param {Pen} pen
 * @param {Point[]} placed
 * @param {Athlete} athlete
 * @param {number} unit
 */
function drawLetter(pen, placed, athlete, unit) {
  const head = HEAD.map((k) => placed[k]).filter((p) => p !== null);
  const seen = head.length ? head : placed.filter((p) => p !== null);
  if (!seen.length) return;
  const x = seen.reduce((sum, p) => sum + p.x, 0) / seen.length;
  const y = Math.max(Math.min(...seen.map((p) => p.y)) - 16 * unit, 10 * unit);
  const side = 8.5 * unit;
  pen.globalAlpha = 1;
  pen.fillStyle = LOOKS[athlete].colour;
  pen.strokeStyle = "rgba(10, 14, 16, 0.85)";
  pen.lineWidth = 1.5 * unit;
  pen.beginPath();
  if (LOOKS[athlete].square) pen.rect(x - side, y - side, 2 * side, 2 * side);
  else pen.arc(x, y, side, 0, 2 * Math.PI);
  pen.fill();
  pen.stroke();
  pen.fillStyle = "#10181a";
  pen.font = `700 ${12 * unit}px system-ui, sans-serif`;
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  pen.fillText(athlete, x, y + 0.5 * unit);
}
