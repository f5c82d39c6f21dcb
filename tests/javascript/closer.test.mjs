// The part of the picture that is shown: inside the edges, steady under the hand, around the pair.

import assert from "node:assert/strict";
import { test } from "node:test";
import { MOST_TIMES, WHOLE, around, inside, moved, towards, zoomed } from "../../posescore/web/assets/common/closer.js";

test("a view never leaves the picture", () => {
  assert.deepEqual(inside({ x: 0, y: 2, times: 2 }), { x: 0.25, y: 0.75, times: 2 });
  assert.equal(inside({ x: 0.5, y: 0.5, times: 99 }).times, MOST_TIMES);
  assert.deepEqual(zoomed(WHOLE, 0.2), WHOLE);
});

test("what lies under the hand stays there", () => {
  const view = { x: 0.5, y: 0.5, times: 2 };
  const closer = zoomed(view, 1.5, 0.25, 0.5);
  const seenAt = (one) => one.x + (0.25 - 0.5) / one.times;
  assert.ok(Math.abs(seenAt(view) - seenAt(closer)) < 1e-9);
});

test("a drag moves the picture with the hand", () => {
  assert.ok(moved({ x: 0.5, y: 0.5, times: 4 }, 0.4, 0).x < 0.5);
});

test("the pair fills the window, and nobody leaves it as it is", () => {
  const point = (x, y) => ({ x, y, sure: 1 });
  const view = around({ A: [point(0.4, 0.4), null], B: [point(0.6, 0.5)] });
  assert.ok(Math.abs(view.x - 0.5) < 1e-9);
  assert.ok(view.times > 3 && view.times < 4);
  assert.equal(around({ A: [null], B: [] }), null);
  assert.equal(around(null), null);
});

test("following is gentle while it plays, and at once when it stands", () => {
  const there = { x: 0.7, y: 0.5, times: 2 };
  assert.deepEqual(towards(WHOLE, there, true), there);
  assert.ok(towards(WHOLE, there, false).times < 1.3);
});
