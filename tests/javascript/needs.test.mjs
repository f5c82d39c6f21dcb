// What still needs a person, in the order of the match.

import assert from "node:assert/strict";
import { test } from "node:test";
import { load } from "./assets.mjs";

const { needs, nextNeed } = await load("review/needs.js");
const proposal = (id, time_s, decision = null) => ({ id, time_s, look_s: time_s, start_s: time_s - 1, decision });
const REVIEW = {
  proposals: [proposal("late", 30), proposal("early", 10), proposal("done", 20, { verdict: "confirmed" })],
  holds: [
    { id: "sure", start_s: 1, confidence: 0.9, edited: false, position: "mount" },
    { id: "doubtful", start_s: 15, confidence: 0.4, edited: false, position: "mount" },
    { id: "corrected", start_s: 16, confidence: 0.4, edited: true, position: "mount" },
  ],
  findings: [{ kind: "possible_swap", start_s: 0.5, message: "They crossed." }],
};
const ids = (list) => list.map((need) => need.id);

test("undecided lines, doubtful holds and findings, in time order", () => {
  assert.deepEqual(ids(needs(REVIEW, new Set())), ["f:possible_swap:0.50", "p:early", "h:doubtful", "p:late"]);
  assert.deepEqual(ids(needs(REVIEW, new Set(["h:doubtful", "p:late"]))), ["f:possible_swap:0.50", "p:early", "p:late"]);
});

test("a finding begins a little earlier, but not before the footage", () => {
  assert.equal(needs(REVIEW, new Set())[0].from_s, 0);
});

test("the next need goes round the end, from the playhead where none is current", () => {
  const list = needs(REVIEW, new Set());
  assert.equal(nextNeed(list, "p:late", 0, 1).id, "f:possible_swap:0.50");
  assert.equal(nextNeed(list, "f:possible_swap:0.50", 0, -1).id, "p:late");
  assert.equal(nextNeed(list, null, 12, 1).id, "h:doubtful");
  assert.equal(nextNeed(list, null, 12, -1).id, "p:early");
  assert.equal(nextNeed([], null, 0, 1), null);
});
