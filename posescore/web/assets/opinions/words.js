// Differences of two opinions in words.

import { KINDS, spaced, stateText } from "../common/words.js";
import { WORDS } from "../common/words_data.js";

/**
 * "A guard_pass 3" as the server says it, for people: "guard pass, 3 points, Mira".
 * @param {string | null} said
 * @param {Names} names
 */
export function spokenAward(said, names) {
  if (said === null) return "not decided yet";
  if (said === "nothing") return "nothing given";
  const [who, kinds, worth] = said.split(" ");
  const [kind, wouldBe] = kinds.split(":");
  const name = KINDS[wouldBe ?? kind]?.trade ?? spaced(kind);
  const points = worth === "advantage" ? "an advantage" : worth === "0" ? "no points" : `${worth} points`;
  return `${name}, ${points}, ${names[who] ?? WORDS.nobody}`;
}

const MARK_S = 0.6; // an award is an instant: so wide it can be seen on the strip

/**
 * @param {LineDifference} line
 * @param {Names} names
 */
export function lineDifference(line, names) {
  return {
    id: `line-${line.line}`, time_s: line.time_s, end_s: line.time_s + MARK_S, title: spokenAward(line.what, names), what: "Award",
    one: spokenAward(line.one, names), other: spokenAward(line.other, names), settled: line.settled, settles: { line: line.line },
    line: line.line, one_key: line.one_key, other_key: line.other_key,
  };
}

/**
 * @param {StretchDifference} stretch
 * @param {Names} names
 */
export function difference(stretch, names) {
  const seconds = (stretch.end_s - stretch.start_s).toFixed(1);
  return {
    id: `stretch-${stretch.start_s}`, time_s: stretch.start_s, end_s: stretch.end_s, title: `the position over ${seconds} seconds`,
    what: "Position", one: stateText(stretch.one, names), other: stateText(stretch.other, names), settled: stretch.settled,
    settles: { start_s: stretch.start_s, end_s: stretch.end_s },
  };
}

/**
 * What a kappa means, without a scale that would sound like a verdict.
 * @param {number | null} kappa
 */
export function agreed(kappa) {
  if (kappa === null) return "cannot be said: too few answers, or one answer throughout";
  if (kappa >= 0.999) return "they agree throughout";
  if (kappa <= 0) return "no better than chance";
  return `${Math.round(100 * kappa)} % of the way from chance to full agreement`;
}
