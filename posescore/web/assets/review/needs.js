// What still needs a person, in the order of the match: undecided proposals, doubtful holds, findings.

import { WORDS } from "../common/words_data.js";
import { DOUBTFUL_BELOW, FINDINGS, POSITIONS, stateOf, sureText } from "../common/words.js";

/**
 * @typedef {{id: string, time_s: number, from_s: number, text: string, proposal?: string, look_s?: number, swap?: boolean}} Need
 */

/**
 * @param {Review} review
 * @param {Set<string>} looked ids of doubtful places that were already looked at in this window
 * @returns {Need[]}
 */
export function needs(review, looked) {
  const open = review.proposals
    .filter((proposal) => stateOf(proposal) === "undecided")
    .map((proposal) => ({ id: `p:${proposal.id}`, proposal: proposal.id, time_s: proposal.time_s, look_s: proposal.look_s, from_s: proposal.start_s, text: "" }));
  const behind = review.proposals
    .filter((proposal) => proposal.behind_end && ["confirmed", "changed", "added"].includes(stateOf(proposal)))
    .map((proposal) => ({ id: `e:${proposal.id}`, proposal: proposal.id, time_s: proposal.time_s, look_s: proposal.look_s, from_s: proposal.start_s, text: WORDS.ended.behind_need }));
  const doubtful = review.holds
    .filter((hold) => hold.confidence < DOUBTFUL_BELOW && !hold.edited)
    .map((hold) => ({
      id: `h:${hold.id}`, time_s: hold.start_s, from_s: hold.start_s,
      text: `Doubtful: ${POSITIONS[hold.position].trade}, ${sureText(hold.confidence)}.`,
    }));
  const found = review.findings.map((finding) => ({
    id: `f:${finding.kind}:${finding.start_s.toFixed(2)}`, swap: finding.kind === "possible_swap", time_s: finding.start_s, from_s: Math.max(0, finding.start_s - 1),
    text: `${FINDINGS[finding.kind] ?? finding.kind}. ${finding.message}`,
  }));
  return [...open, ...[...behind, ...doubtful, ...found].filter((need) => !looked.has(need.id))]
    .sort((a, b) => a.time_s - b.time_s);
}

/**
 * The next (or, with -1, the previous) need after `current`, around the end of the match.
 * @param {Need[]} list
 * @param {string | null} current
 * @param {number} timeS
 * @param {1 | -1} direction
 */
export function nextNeed(list, current, timeS, direction) {
  if (!list.length) return null;
  const at = list.findIndex((need) => need.id === current);
  if (at >= 0) return list[(at + direction + list.length) % list.length];
  if (direction > 0) return list.find((need) => need.time_s >= timeS - 1e-6) ?? list[0];
  return [...list].reverse().find((need) => need.time_s <= timeS) ?? list[list.length - 1];
}
