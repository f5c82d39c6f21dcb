// Keys: each means one thing on a page, and a person can choose another.

import assert from "node:assert/strict";
import { test } from "node:test";
import { load } from "./assets.mjs";

const { ACTIONS, Keys, LESSON_ACTIONS, OPINION_ACTIONS, keyName, shown } = await load("common/keys.js");
const pressed = (key, more = {}) => keyName({ key, ctrlKey: false, metaKey: false, shiftKey: false, ...more });

test("no key means two things on one page", () => {
  for (const actions of [ACTIONS, OPINION_ACTIONS, LESSON_ACTIONS]) {
    const keys = actions.flatMap((action) => action.keys);
    assert.equal(new Set(keys).size, keys.length);
    const ids = actions.map((action) => action.id);
    assert.equal(new Set(ids).size, ids.length);
  }
});

test("an event is written as the page writes its keys", () => {
  assert.equal(pressed("y"), "y");
  assert.equal(pressed("Y", { shiftKey: true }), "Shift+Y");
  assert.equal(pressed("?", { shiftKey: true }), "?");
  assert.equal(pressed(" "), "Space");
  assert.equal(pressed("ArrowLeft", { shiftKey: true }), "Shift+ArrowLeft");
  assert.equal(pressed("z", { metaKey: true }), "Ctrl+z");
});

test("Y confirms, until a person chooses another key", () => {
  const keys = new Keys(ACTIONS, "test");
  assert.equal(keys.actionOf("y"), "confirm");
  assert.match(keys.choose("confirm", "x"), /already means: Dismiss/);
  assert.equal(keys.choose("confirm", "F9"), "");
  assert.equal(keys.actionOf("F9"), "confirm");
  assert.equal(keys.actionOf("y"), null);
  keys.turn(false);
  assert.equal(keys.actionOf("F9"), null);
  keys.turn(true);
  keys.reset();
  assert.equal(keys.actionOf("y"), "confirm");
});

test("keys are shown as they are printed", () => {
  assert.equal(shown("Shift+ArrowLeft"), "Shift \u2190");
  assert.equal(shown("+"), "+");
});
