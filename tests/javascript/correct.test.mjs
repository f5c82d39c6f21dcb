// Corrections at the playhead, as the edits that the server takes.

import assert from "node:assert/strict";
import { test } from "node:test";
import { load } from "./assets.mjs";

const { edgeHere, mergeWithNext, nameable, named, nudge, removeHere, splitHere, stretchHere } = await load("review/correct.js");
const { Clock } = await load("common/clock.js");
const hold = (id, start_s, end_s) => ({ id, start_s, end_s, position: "mount", upper: "A" });
const REVIEW = { holds: [hold("one", 1, 3), hold("two", 3, 5), hold("three", 8, 9)] };
const CLOCK = new Clock(Float64Array.from({ length: 101 }, (_, i) => i / 10));

test("the hold under the playhead is acted on", () => {
  assert.deepEqual(edgeHere(REVIEW, 3, "start"), { kind: "set_edge", hold: "two", edge: "start", to_s: 3 });
  assert.deepEqual(splitHere(REVIEW, 2), { kind: "split", hold: "one", at_s: 2 });
  assert.deepEqual(removeHere(REVIEW, 8.5), { kind: "remove_hold", hold: "three" });
  assert.deepEqual(mergeWithNext(REVIEW, 2), { kind: "merge", first: "one", second: "two" });
});

test("between holds the next one begins, the last one ends", () => {
  assert.equal(edgeHere(REVIEW, 6, "start").hold, "three");
  assert.equal(edgeHere(REVIEW, 6, "end").hold, "two");
  assert.equal(splitHere(REVIEW, 6), null);
  assert.equal(removeHere(REVIEW, 0.5), null);
  assert.equal(mergeWithNext(REVIEW, 8.5), null);
});

test("naming acts on the hold, or on the whole gap", () => {
  assert.equal(nameable(REVIEW, 4, 10).hold, "two");
  assert.deepEqual(stretchHere(REVIEW, 6, 10), { start_s: 5, end_s: 8 });
  assert.deepEqual(stretchHere(REVIEW, 9.5, 10), { start_s: 9, end_s: 10 });
  assert.equal(named(nameable(REVIEW, 6, 10), "mount", "B").kind, "add_hold");
  assert.deepEqual(named(nameable(REVIEW, 4, 10), "mount", "B"), { kind: "relabel", hold: "two", position: "mount", upper: "B" });
});

test("the nearest edge moves by frames, and never past the end", () => {
  assert.deepEqual(nudge(REVIEW, 7.9, -1, CLOCK), { kind: "set_edge", hold: "three", edge: "start", to_s: CLOCK.time(79) });
  const last = { holds: [hold("last", 8, 9.9)] };
  assert.equal(nudge(last, 9.9, 1, CLOCK).to_s, CLOCK.end);
  assert.equal(nudge({ holds: [] }, 1, 1, CLOCK), null);
});
