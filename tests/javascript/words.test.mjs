// Sentences of the pages.

import assert from "node:assert/strict";
import { test } from "node:test";
import { load } from "./assets.mjs";

const { answersTo, leastSure, seenText, shortWorth, stateText, sureText, worth } = await load("common/words.js");
const { divisionText, runText, sizeText, stageText } = await load("library/words.js");
const { agreed, spokenAward } = await load("opinions/words.js");
const NAMES = { A: "Ines", B: "Noa" };
const answers = (proposal) => answersTo({ points: 4, advantage: 0, kind: "mount", ...proposal }).map((one) => one.id);

test("only a person can be certain", () => {
  assert.equal(sureText(1), "very sure, 99 %");
  assert.equal(sureText(0), "unsure, 1 %");
});

test("what a line can be answered with follows from where it stands", () => {
  const open = { still_proposed: true, added: false, decision: null };
  assert.deepEqual(answers(open), ["confirm", "change", "dismiss"]);
  assert.deepEqual(answers({ ...open, decision: { verdict: "confirmed" } }), ["change", "dismiss", "reopen"]);
  assert.deepEqual(answers({ still_proposed: false, added: true, decision: { verdict: "added" } }), ["change", "dismiss"]);
  assert.deepEqual(answers({ still_proposed: false, added: false, decision: { verdict: "confirmed" } }), ["reopen"]);
});

test("a state names who is where", () => {
  assert.equal(stateText({ position: "mount", upper: "A" }, NAMES), "mount, Ines on top");
  assert.equal(stateText({ position: "back_control", upper: "B" }, NAMES), "back control, Noa behind");
  assert.equal(stateText({ position: "standing", upper: null }, NAMES), "standing");
});

test("worth in words and in short", () => {
  assert.deepEqual([worth({ points: 4 }), shortWorth({ points: 4 })], ["4 points", "+4"]);
  assert.deepEqual([worth({ points: 0, advantage: 1 }), shortWorth({ points: 0, advantage: 1 })], ["advantage", "adv"]);
  assert.deepEqual([worth({ points: 0, kind: "penalty" }), shortWorth({ points: 0, kind: "penalty" })], ["penalty", "pen"]);
  assert.deepEqual([worth({ points: 0 }), shortWorth({ points: 0 })], ["no points", "0"]);
});

test("the least sure part of a line is named, where any is doubtful", () => {
  const proposal = {
    path: [{ words: "mount", confidence: 0.8 }, { words: "standing", confidence: null }],
    on_the_way: [{ event: "tap", by_person: false, confidence: 0.5 }, { event: "tap", by_person: true, confidence: 0.1 }],
    criteria: [{ met: null, probability: 0.1 }, { met: false, name: "hooks in", seen: "one hook", probability: 0.7 }],
  };
  assert.deepEqual(leastSure(proposal), { text: "gives up (tap)", sure: 0.5 });
  assert.equal(leastSure({ path: [], on_the_way: [], criteria: [] }), null);
  assert.equal(seenText({ seen: "one hook", how_seen: "hardly visible" }), "one hook (hardly visible)");
});

test("the list says where a match stands", () => {
  assert.equal(stageText({ stage: "waiting", run: { ahead: 2 }, standing: null }), "Waits for its turn, 2 before it.");
  assert.equal(stageText({ stage: "undecided", run: null, standing: { waiting: 1, total: 1 } }), "1 of 1 proposal to decide.");
  assert.equal(runText({ progress: 0.439, rate: 1.25, remaining_s: 119 }), "43 %, takes 0.8 times the footage's length, about 2 min left");
  assert.equal(divisionText({ division: { age: "adult", belt: "blue" }, match_time_s: 360 }), "adult blue, match time 6 min");
  assert.deepEqual([sizeText(999), sizeText(2.5e6), sizeText(3e9)], ["1 kB", "2.5 MB", "3.0 GB"]);
});

test("two opinions in words", () => {
  assert.equal(spokenAward("A near:mount advantage", NAMES), "mount, an advantage, Ines");
  assert.equal(spokenAward(null, NAMES), "not decided yet");
  assert.match(agreed(null), /cannot be said/);
  assert.match(agreed(0.5), /^50 % of the way/);
});
