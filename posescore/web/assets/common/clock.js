// The presentation time of every frame: the page's only conversion between frame index and seconds.

const MOST_BEHIND_S = 0.005;

export class Clock {
  /**
   * @param {Float64Array} pts seconds of every frame and, as its last entry, the end of the footage
   */
  constructor(pts) {
    this.pts = pts.subarray(0, pts.length - 1);
    this.end = pts[pts.length - 1];
  }

  /** @param {string} url */
  static async load(url) {
    const response = await fetch(url);
    if (!response.ok) {
      const answer = await response.json().catch(() => null);
      throw new Error(answer?.error ?? "The times of the frames could not be loaded.");
    }
    return new Clock(new Float64Array(await response.arrayBuffer()));
  }

  get length() {
    return this.pts.length;
  }

  /**
   * @param {number} index
   * @returns {number} seconds
   */
  time(index) {
    return this.pts[this.clamp(index)];
  }

  /**
   * Where to seek for a frame: the middle of its time, but at most 5 ms behind its start. Browsers
   * take a frame's length from the order of decoding; that is too short for the long frames of a
   * variable rate, and in the middle of such a frame they would show the next one.
   * @param {number} index
   */
  inside(index) {
    const i = this.clamp(index);
    const after = i + 1 < this.length ? this.pts[i + 1] : this.end;
    return this.pts[i] + Math.min((after - this.pts[i]) / 2, MOST_BEHIND_S);
  }

  /**
   * The frame that is shown at an instant.
   * @param {number} seconds
   */
  at(seconds) {
    let low = 0;
    let high = this.length;
    while (low < high) {
      const mid = (low + high) >> 1;
      if (this.pts[mid] <= seconds) low = mid + 1;
      else high = mid;
    }
    return this.clamp(low - 1);
  }

  /**
   * The frame whose presentation time lies nearest, for times that a browser reports rounded.
   * @param {number} seconds
   */
  nearest(seconds) {
    const i = this.at(seconds);
    if (i + 1 < this.length && this.pts[i + 1] - seconds < seconds - this.pts[i]) return i + 1;
    return i;
  }

  /** @param {number} index */
  clamp(index) {
    return Math.min(Math.max(Math.round(index), 0), this.length - 1);
  }
}

/**
 * `1:07.43`: minutes, seconds and hundredths, cut and never rounded up into the next second.
 * @param {number} seconds
 */
export function clockText(seconds) {
  const hundredths = Math.max(0, Math.floor(seconds * 100 + 1e-6));
  const minutes = Math.floor(hundredths / 6000);
  const rest = ((hundredths % 6000) / 100).toFixed(2).padStart(5, "0");
  return `${minutes}:${rest}`;
}

/**
 * `1:07`: for places where hundredths only get in the way.
 * @param {number} seconds
 */
export function shortClockText(seconds) {
  return clockText(seconds).slice(0, -3);
}

/**
 * Seconds of `83.4`, `1:23.4` or `0:01:23`, or the frame of `#250`; null where it is neither.
 * @param {string} text
 * @param {Clock} clock
 * @returns {number | null}
 */
export function parseTime(text, clock) {
  const cleaned = text.trim().replace(",", ".");
  const frame = /^(?:#|f\s*)(\d+)$/i.exec(cleaned);
  if (frame) return clock.time(Number(frame[1]));
  if (!/^(\d+:){0,2}\d+(\.\d+)?$/.test(cleaned)) return null;
  return cleaned.split(":").reduce((total, part) => total * 60 + Number(part), 0);
}
