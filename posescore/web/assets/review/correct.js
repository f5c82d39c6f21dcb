// Corrections of holds at the playhead, as the edits that the server takes. Null where there is nothing to do.

const TOUCHING_S = 1e-6;

/** @typedef {import("../common/clock.js").Clock} Clock */

/**
 * @param {Review} review
 * @param {number} now
 * @returns {Hold | null}
 */
const holdAt = (review, now) => review.holds.find((hold) => hold.start_s <= now && now < hold.end_s) ?? null;
/**
 * @param {Review} review
 * @param {number} now
 * @returns {Hold | null}
 */
const holdBefore = (review, now) => review.holds.filter((hold) => hold.end_s <= now + TOUCHING_S).at(-1) ?? null;
/**
 * @param {Review} review
 * @param {number} now
 * @returns {Hold | null}
 */
const holdAfter = (review, now) => review.holds.find((hold) => hold.start_s > now) ?? null;

/**
 * The hold under the playhead begins (or ends) here; between holds the next begins, the last ends.
 * @param {Review} review
 * @param {number} now
 * @param {"start" | "end"} edge
 */
export function edgeHere(review, now, edge) {
  const inside = holdAt(review, now);
  const hold = inside ?? (edge === "start" ? holdAfter(review, now) : holdBefore(review, now));
  return hold && { kind: "set_edge", hold: hold.id, edge, to_s: now };
}

/**
 * The edge nearest to the playhead moves by a number of frames.
 * @param {Review} review
 * @param {number} now
 * @param {number} frames
 * @param {Clock} clock
 */
export function nudge(review, now, frames, clock) {
  const edges = review.holds.flatMap((hold) => [
    { hold: hold.id, edge: "start", at: hold.start_s },
    { hold: hold.id, edge: "end", at: hold.end_s },
  ]);
  if (!edges.length) return null;
  const nearest = edges.reduce((best, one) => (Math.abs(one.at - now) < Math.abs(best.at - now) ? one : best));
  const from = clock.nearest(nearest.at);
  const to = nearest.edge === "end" && from + frames >= clock.length ? clock.end : clock.time(from + frames);
  return { kind: "set_edge", hold: nearest.hold, edge: nearest.edge, to_s: to };
}

/**
 * @param {Review} review
 * @param {number} now
 */
export function splitHere(review, now) {
  const hold = holdAt(review, now);
  return hold && { kind: "split", hold: hold.id, at_s: now };
}

/**
 * @param {Review} review
 * @param {number} now
 */
export function mergeWithNext(review, now) {
  const first = holdAt(review, now) ?? holdBefore(review, now);
  const second = first && review.holds[review.holds.indexOf(first) + 1];
  return second ? { kind: "merge", first: first.id, second: second.id } : null;
}

/**
 * @param {Review} review
 * @param {number} now
 */
export function removeHere(review, now) {
  const hold = holdAt(review, now);
  return hold && { kind: "remove_hold", hold: hold.id };
}

/**
 * What naming the position here acts on: a hold, or the stretch between two holds.
 * @param {Review} review
 * @param {number} now
 * @param {number} end the end of the footage
 */
export function nameable(review, now, end) {
  const hold = holdAt(review, now);
  if (hold) return { hold: hold.id, position: hold.position, upper: hold.upper, start_s: hold.start_s, end_s: hold.end_s };
  const start = holdBefore(review, now)?.end_s ?? 0;
  return { hold: null, position: "side_control", upper: "A", start_s: start, end_s: holdAfter(review, now)?.start_s ?? end };
}

/**
 * @param {{hold: string | null, start_s: number, end_s: number}} target
 * @param {string} position
 * @param {Athlete | null} upper
 */
export function named(target, position, upper) {
  if (target.hold) return { kind: "relabel", hold: target.hold, position, upper };
  return { kind: "add_hold", start_s: target.start_s, end_s: target.end_s, position, upper };
}

/**
 * The stretch at the playhead in which A and B may be exchanged: a hold, or the time between two.
 * @param {Review} review
 * @param {number} now
 * @param {number} end the end of the footage
 */
export function stretchHere(review, now, end) {
  const { start_s, end_s } = nameable(review, now, end);
  return { start_s, end_s };
}
