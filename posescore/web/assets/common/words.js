// What the page says, in words for someone who has never trained, with the trade's term beside them.

import { WORDS } from "./words_data.js";

export const { kinds: KINDS, positions: POSITIONS, events: EVENTS, statuses: STATE_WORDS, findings: FINDINGS, parts: PARTS, without_upper: WITHOUT_UPPER } = WORDS;

/**
 * Why a line does not stand: for what pays nothing the reasons speak for more, not for less.
 * @param {Award} award
 * @returns {string[]}
 */
export function dismissReasons(award) {
  const { reasons, reasons_near, reasons_none } = WORDS.dismissing;
  if (award.kind === "none") return reasons_none;
  return award.kind === "near" ? reasons_near : reasons;
}

/**
 * "1 of 5 criteria not looked at, taken as met", "" where all were looked at.
 * @param {Proposal} proposal
 */
export function unlookedText(proposal) {
  if (!proposal.not_looked_at) return "";
  return WORDS.sure.not_looked_at.replace("{count}", String(proposal.not_looked_at)).replace("{all}", String(proposal.checked));
}

/**
 * What a proposal can be answered with, in the order of its buttons.
 * @param {Proposal} proposal
 */
export function answersTo(proposal) {
  const state = stateOf(proposal);
  const answers = [];
  if (proposal.still_proposed && state !== "confirmed") answers.push({ id: "confirm", text: pays(proposal) ? "Confirm" : "Agree", look: "primary" });
  if (proposal.still_proposed || proposal.added) answers.push({ id: "change", text: "Change", look: "" });
  if (proposal.added) answers.push({ id: "dismiss", text: "Take back", look: "" });
  else if (proposal.still_proposed && state !== "dismissed") answers.push({ id: "dismiss", text: "Dismiss", look: "" });
  if (state !== "undecided" && !proposal.added) answers.push({ id: "reopen", text: "Decide later", look: "quiet" });
  return answers;
}

/**
 * True for what changes the score.
 * @param {Award} award
 */
export function pays(award) {
  return award.points > 0 || award.advantage > 0 || award.kind === "penalty";
}

const CERTAIN = 0.9;

/**
 * What was seen of a criterion, and how well.
 * @param {Criterion} criterion
 */
export function seenText(criterion) {
  return criterion.how_seen ? `${criterion.seen} (${criterion.how_seen})` : criterion.seen;
}

/**
 * The part of a line that is least sure, for whoever wants to know where to look first.
 * @param {Proposal} proposal
 */
export function leastSure(proposal) {
  const parts = [
    ...proposal.path.map((step) => ({ text: step.words, sure: step.confidence ?? 1 })),
    ...proposal.on_the_way.filter((event) => !event.by_person).map((event) => ({ text: EVENTS[event.event].text.toLowerCase(), sure: event.confidence })),
    ...proposal.criteria.filter((criterion) => criterion.met !== null).map((criterion) => ({ text: criterion.met ? criterion.name : criterion.seen, sure: criterion.probability })),
  ];
  const counted = parts.filter((part) => part.sure < CERTAIN);
  return counted.sort((a, b) => a.sure - b.sure)[0] ?? null;
}

/**
 * "mount, Ines Vaz on top", "back control, Ines Vaz behind", "standing"
 * @param {State} state
 * @param {Names} names
 */
export function stateText(state, names) {
  const { trade } = POSITIONS[state.position];
  return state.upper ? `${trade}, ${names[state.upper]} ${upperText(state.position)}` : trade;
}

/**
 * Where the upper athlete of a position is.
 * @param {string} position
 */
export function upperText(position) {
  return POSITIONS[position].upper ?? WORDS.on_top;
}

export const DOUBTFUL_BELOW = 0.6;

/**
 * @param {number} probability
 */
function sureWords(probability) {
  return WORDS.confidence.find((/** @type {{from: number}} */ each) => probability >= each.from).text;
}

/**
 * "fairly sure, 82 %": never 100 %, since only a person can be certain.
 * @param {number} probability
 */
export function sureText(probability) {
  const percent = Math.min(99, Math.max(1, Math.round(probability * 100)));
  return `${sureWords(probability)}, ${percent} %`;
}

/**
 * @param {Proposal} proposal
 */
export function stateOf(proposal) {
  return proposal.decision?.verdict ?? "undecided";
}

/**
 * @param {Award} award
 */
export function worth(award) {
  if (award.points) return `${award.points} points`;
  if (award.advantage) return KINDS.near.trade;
  return award.kind === "penalty" ? KINDS.penalty.trade : "no points";
}

/**
 * A line as it is read out when it is chosen: which one, what, who, when, and how it stands.
 * @param {Proposal} proposal
 * @param {Proposal[]} all
 * @param {Names} names
 * @param {(seconds: number) => string} clock
 */
export function lineText(proposal, all, names, clock) {
  const award = { ...proposal, ...proposal.decided_award };
  const state = stateOf(proposal);
  const stands = state === "undecided" ? `${STATE_WORDS[state]}: ${sureText(proposal.confidence)}` : STATE_WORDS[state];
  const what = [awardText(award), award.athlete && names[award.athlete], clock(award.time_s)].filter(Boolean).join(", ");
  return `Line ${all.indexOf(proposal) + 1} of ${all.length}: ${what}. ${stands}.`;
}

/**
 * "guard pass, 3 points"; what is an advantage by its kind is not called one twice.
 * @param {Award & {would_be?: string | null}} award
 */
export function awardText(award) {
  const kind = KINDS[award.would_be ?? award.kind] ?? KINDS[award.kind];
  const said = worth(award);
  return kind.trade === said ? said : `${kind.trade}, ${said}`;
}

/**
 * @param {Award} award
 */
export function shortWorth(award) {
  if (award.points) return `+${award.points}`;
  if (award.advantage) return WORDS.short.advantage;
  return award.kind === "penalty" ? WORDS.short.penalty : "0";
}

/**
 * With a capital first letter, the rest as it is.
 * @param {string} text
 */
export function capital(text) {
  return text.charAt(0).toUpperCase() + text.slice(1);
}

/**
 * @param {string} name
 */
export function spaced(name) {
  return name.replaceAll("_", " ");
}
