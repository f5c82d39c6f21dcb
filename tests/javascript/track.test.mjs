// Keypoints as the server packs them, and the skeletons drawn from them.

import assert from "node:assert/strict";
import { test } from "node:test";
import { answers, load } from "./assets.mjs";

const { TrackReader } = await load("common/track.js");
const { drawSkeletons } = await load("common/skeleton.js");
const KEYPOINTS = 21;

/** Frames 10 and 12: A in the middle of the picture, B at its left upper corner, one keypoint of B missing. */
function chunk() {
  const frames = [10, 12];
  const bytes = new ArrayBuffer(4 + 4 * 2 + 2 * 2 * 2 * KEYPOINTS * 2 + 2 * 2 * KEYPOINTS);
  new DataView(bytes).setUint32(0, frames.length, true);
  new Int32Array(bytes, 4, 2).set(frames);
  const places = new Int16Array(bytes, 12, 2 * 2 * KEYPOINTS * 2);
  for (let i = 0; i < places.length; i += 1) places[i] = Math.floor(i / (2 * KEYPOINTS)) % 2 ? -16384 : 0;
  places[2 * KEYPOINTS] = -32768;
  new Uint8Array(bytes, 12 + places.byteLength).fill(255);
  return bytes;
}

async function reader() {
  answers.set("/track/0", chunk());
  const track = new TrackReader({ url: "/track", n_rows: 2, chunk_rows: 900, first_frames: [10] });
  await new Promise((resolve) => { assert.equal(track.at(10, 0, resolve), null); });
  return track;
}

test("a frame has its keypoints, a missing one is null, another frame has none", async () => {
  const track = await reader();
  const pair = track.at(10, 0);
  assert.deepEqual(pair.A[0], { x: 0.5, y: 0.5, sure: 1 });
  assert.equal(pair.B[0], null);
  assert.ok(Math.abs(pair.B[1].x) < 1e-4);
  assert.equal(track.at(11, 0), null);
});

test("a swap exchanges A and B in its stretch alone", async () => {
  const track = await reader();
  track.swaps = [{ start_s: 1, end_s: 2 }];
  assert.equal(track.at(10, 1).A[0], null);
  assert.equal(track.at(10, 2).B[0], null);
});

test("A is round and solid, B square and dashed; what is missing or hidden is not drawn", async () => {
  const track = await reader();
  const calls = [];
  const pen = new Proxy({}, { get: (_, name) => (...given) => calls.push([name, ...given]), set: () => true });
  const canvas = { clientWidth: 640, clientHeight: 360, width: 0, height: 0, getContext: () => pen };
  globalThis.window = { devicePixelRatio: 1 };
  const drawn = (shown) => {
    calls.length = 0;
    drawSkeletons(canvas, track.at(10, 0), [[0, 1], [1, 2]], shown);
    return (name) => calls.filter((call) => call[0] === name);
  };
  const a = drawn({ A: true, B: false });
  assert.deepEqual([a("arc").length, a("rect").length, a("lineTo").length], [KEYPOINTS + 1, 0, 4]);
  assert.ok(a("setLineDash").every(([, dash]) => dash.length === 0));
  const b = drawn({ A: false, B: true });
  assert.deepEqual([b("arc").length, b("rect").length, b("lineTo").length], [0, KEYPOINTS - 1 + 1, 2]);
  assert.ok(b("setLineDash").some(([, dash]) => dash.length === 2));
  assert.equal(drawn({ A: false, B: false })("stroke").length, 0);
});
