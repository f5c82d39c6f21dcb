// Frames and seconds: one is turned into the other here alone.

import assert from "node:assert/strict";
import { test } from "node:test";
import { load } from "./assets.mjs";

const { Clock, clockText, parseTime, shortClockText } = await load("common/clock.js");
const UNEVEN = new Clock(Float64Array.from([0, 0.04, 0.1, 0.6, 0.65, 0.7]));

test("every instant belongs to the frame that is shown then", () => {
  for (let index = 0; index < UNEVEN.length; index += 1) {
    const start = UNEVEN.time(index);
    const end = index + 1 < UNEVEN.length ? UNEVEN.time(index + 1) : UNEVEN.end;
    for (const part of [0, 0.3, 0.999]) assert.equal(UNEVEN.at(start + part * (end - start)), index);
  }
  assert.equal(UNEVEN.at(-1), 0);
  assert.equal(UNEVEN.at(99), UNEVEN.length - 1);
});

test("a seek aims inside its frame, close behind its start", () => {
  for (let index = 0; index < UNEVEN.length; index += 1) {
    const aim = UNEVEN.inside(index);
    assert.equal(UNEVEN.at(aim), index);
    assert.ok(aim > UNEVEN.time(index) && aim - UNEVEN.time(index) < 0.0051);
  }
});

test("a rounded time finds its frame from either side", () => {
  assert.equal(UNEVEN.nearest(0.0999), 2);
  assert.equal(UNEVEN.nearest(0.1001), 2);
});

test("times are cut, never rounded up into the next second", () => {
  assert.equal(clockText(67.438), "1:07.43");
  assert.equal(clockText(59.999), "0:59.99");
  assert.equal(shortClockText(59.999), "0:59");
});

test("what a person types is a time or a frame", () => {
  assert.equal(parseTime("1:23.4", UNEVEN), 83.4);
  assert.equal(parseTime("0:01:23", UNEVEN), 83);
  assert.equal(parseTime("83,4", UNEVEN), 83.4);
  assert.equal(parseTime("#3", UNEVEN), 0.6);
  for (const wrong of ["", "x", "1:", "-3", "1:2:3:4"]) assert.equal(parseTime(wrong, UNEVEN), null);
});
