// Looking closer at the footage: a part of the picture, as large as the window allows, that can follow the pair.
// Pure: what part is shown, as the middle and how many times it is enlarged.

/** @typedef {{x: number, y: number, times: number}} View the middle in parts of the picture, and how many times it is enlarged */
/** @typedef {import("./track.js").Point} Point */

/** @type {View} */
export const WHOLE = Object.freeze({ x: 0.5, y: 0.5, times: 1 });
export const MOST_TIMES = 8;
const ROOM = 1.35; // around the pair: heads and feet reach beyond the keypoints
const EASE = 0.12; // of the way to where the pair is, with each frame: a camera that does not shake
const LEAST_PAIR = 1.15;

/**
 * The same view inside the picture's edges.
 * @param {View} view
 * @returns {View}
 */
export function inside({ x, y, times }) {
  const kept = Math.min(MOST_TIMES, Math.max(1, times));
  const half = 0.5 / kept;
  const clamp = (/** @type {number} */ place) => Math.min(1 - half, Math.max(half, place));
  return { x: clamp(x), y: clamp(y), times: kept };
}

/**
 * Enlarged by a factor around a place of the window that stays where it is.
 * @param {View} view
 * @param {number} factor
 * @param {number} across of the window, 0 to 1
 * @param {number} down
 */
export function zoomed(view, factor, across = 0.5, down = 0.5) {
  const times = Math.min(MOST_TIMES, Math.max(1, view.times * factor));
  const keep = (/** @type {number} */ middle, /** @type {number} */ at) => middle + (at - 0.5) * (1 / view.times - 1 / times);
  return inside({ x: keep(view.x, across), y: keep(view.y, down), times });
}

/**
 * Moved by parts of the window.
 * @param {View} view
 * @param {number} across
 * @param {number} down
 */
export function moved(view, across, down) {
  return inside({ x: view.x - across / view.times, y: view.y - down / view.times, times: view.times });
}

/**
 * Where the pair is in the picture, with room around; null where nobody was found.
 * @param {{A: Point[], B: Point[]} | null} pair
 * @returns {View | null}
 */
export function around(pair) {
  const seen = pair ? [...pair.A, ...pair.B].filter((point) => point !== null) : [];
  if (!seen.length) return null;
  const xs = seen.map((point) => point.x);
  const ys = seen.map((point) => point.y);
  const [left, right, top, bottom] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
  const extent = Math.max(right - left, bottom - top) * ROOM;
  return inside({ x: (left + right) / 2, y: (top + bottom) / 2, times: Math.max(LEAST_PAIR, 1 / Math.max(extent, 1 / MOST_TIMES)) });
}

/**
 * A step from a view towards another.
 * @param {View} from
 * @param {View} to
 * @param {boolean} atOnce
 */
export function towards(from, to, atOnce) {
  const step = atOnce ? 1 : EASE;
  const near = (/** @type {number} */ a, /** @type {number} */ b) => a + (b - a) * step;
  return inside({ x: near(from.x, to.x), y: near(from.y, to.y), times: near(from.times, to.times) });
}

/**
 * How the picture is laid into the window to show a view.
 * @param {View} view
 */
export function laid({ x, y, times }) {
  return `translate(${(50 - 100 * x * times).toFixed(3)}%, ${(50 - 100 * y * times).toFixed(3)}%) scale(${times.toFixed(4)})`;
}
