// Keypoints of both athletes, fetched in chunks while the footage plays.
//
// A chunk is little-endian: uint32 number of rows n, int32 frame index (n), int16 x and y
// (n, 2 athletes, 21 keypoints, 2), uint8 confidence (n, 2, 21). A coordinate c stands for
// (c / 32767 + 0.5) of the picture's width or height, which leaves room for half a picture outside
// each edge; -32768 stands for a keypoint that is missing.

const KEYPOINTS = 21;
const MISSING = -32768;

/**
 * @typedef {{frames: Int32Array, places: Int16Array, confidence: Uint8Array}} Chunk
 * @typedef {{x: number, y: number, sure: number} | null} Point parts of the picture, 0 to 1; null where missing
 */

/**
 * @param {ArrayBuffer} buffer
 * @returns {Chunk}
 */
function decode(buffer) {
  const n = new DataView(buffer).getUint32(0, true);
  let offset = 4;
  const frames = new Int32Array(buffer, offset, n);
  offset += 4 * n;
  const places = new Int16Array(buffer, offset, n * 2 * KEYPOINTS * 2);
  offset += places.byteLength;
  const confidence = new Uint8Array(buffer, offset, n * 2 * KEYPOINTS);
  return { frames, places, confidence };
}

export class TrackReader {
  /** @param {TrackAbout} about */
  constructor(about) {
    this.about = about;
    /** @type {Map<number, Chunk | null>} */
    this.chunks = new Map();
    /** @type {Interval[]} */
    this.swaps = []; // stretches in which a person exchanged A and B: {start_s, end_s}
  }

  /** @param {number} frameIndex */
  chunkOf(frameIndex) {
    const firsts = this.about.first_frames;
    let found = 0;
    while (found + 1 < firsts.length && firsts[found + 1] <= frameIndex) found += 1;
    return found;
  }

  /**
   * The chunk, or null while it loads; `whenLoaded` is called once it is there.
   * @param {number} number
   * @param {() => void} [whenLoaded]
   */
  chunk(number, whenLoaded) {
    const known = this.chunks.get(number);
    if (known !== undefined) return known;
    this.chunks.set(number, null);
    this.fetchChunk(number).then(
      () => whenLoaded?.(),
      () => this.chunks.delete(number),
    );
    return null;
  }

  /** @param {number} number */
  async fetchChunk(number) {
    const response = await fetch(`${this.about.url}/${number}`);
    if (!response.ok) throw new Error("keypoints could not be loaded");
    this.chunks.set(number, decode(await response.arrayBuffer()));
  }

  /**
   * Keypoints of one frame, shown at `seconds`, as `{A: [...], B: [...]}`, each point `{x, y, sure}` in parts of the
   * picture or null where missing; null while the chunk loads or where the track has no such frame.
   * @param {number} frameIndex
   * @param {number} seconds
   * @param {() => void} [whenLoaded]
   */
  at(frameIndex, seconds, whenLoaded) {
    const number = this.chunkOf(frameIndex);
    const chunk = this.chunk(number, whenLoaded);
    if (number + 1 < this.about.first_frames.length) this.chunk(number + 1);
    if (!chunk) return null;
    const row = rowOf(chunk.frames, frameIndex);
    if (row < 0) return null;
    const swapped = this.swaps.some((swap) => swap.start_s <= seconds && seconds < swap.end_s);
    return { A: points(chunk, row, swapped ? 1 : 0), B: points(chunk, row, swapped ? 0 : 1) };
  }
}

/**
 * @param {Int32Array} frames
 * @param {number} frameIndex
 */
function rowOf(frames, frameIndex) {
  let low = 0;
  let high = frames.length - 1;
  while (low <= high) {
    const mid = (low + high) >> 1;
    if (frames[mid] === frameIndex) return mid;
    if (frames[mid] < frameIndex) low = mid + 1;
    else high = mid - 1;
  }
  return -1;
}

/**
 * @param {Chunk} chunk
 * @param {number} row
 * @param {0 | 1} slot
 * @returns {Point[]}
 */
function points(chunk, row, slot) {
  const first = (row * 2 + slot) * KEYPOINTS;
  return Array.from({ length: KEYPOINTS }, (_, k) => {
    const i = (first + k) * 2;
    if (chunk.places[i] === MISSING) return null;
    return {
      x: chunk.places[i] / 32767 + 0.5,
      y: chunk.places[i + 1] / 32767 + 0.5,
      sure: chunk.confidence[first + k] / 255,
    };
  });
}
