// What the page says, in words for someone who has never trained, with the trade's term beside them.

export const KINDS = {
  takedown: { plain: "Brought the opponent down", trade: "takedown" },
  sweep: { plain: "Turned over from underneath", trade: "sweep" },
  guard_pass: { plain: "Got past the legs", trade: "guard pass" },
  knee_on_belly: { plain: "Knee on the torso", trade: "knee-on-belly" },
  mount: { plain: "Sat on the torso", trade: "mount" },
  back_mount: { plain: "Sat on the back", trade: "back mount" },
  back_control: { plain: "Held from behind with both heels in", trade: "back control" },
  penalty: { plain: "Broke a rule", trade: "penalty" },
  out_of_area: { plain: "Left the mat while escaping a submission", trade: "out of area" },
  fled: { plain: "Left the mat to avoid a score", trade: "fleeing the area" },
  near: { plain: "Nearly scored", trade: "advantage" },
  none: { plain: "Looked like points, earned none", trade: "no points" },
};

export const POSITIONS = {
  standing: { plain: "both on their feet", trade: "standing" },
  closed_guard: { plain: "held between closed legs", trade: "closed guard" },
  open_guard: { plain: "legs in between, open", trade: "open guard" },
  half_guard: { plain: "one leg trapped", trade: "half guard" },
  side_control: { plain: "past the legs, from the side", trade: "side control" },
  north_south: { plain: "past the legs, from the head", trade: "north-south" },
  knee_on_belly: { plain: "knee on the torso", trade: "knee-on-belly" },
  mount: { plain: "sitting on the torso", trade: "mount" },
  back_mount: { plain: "sitting on the back", trade: "back mount" },
  back_control: { plain: "behind, heels inside the thighs", trade: "back control" },
  turtle: { plain: "on knees and elbows", trade: "turtle" },
  scramble: { plain: "in between, nothing settled", trade: "scramble" },
};

/** What a proposal can be answered with, in the order of its buttons. */
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

/** True for what changes the score. */
export function pays(award) {
  return award.points > 0 || award.advantage > 0 || award.kind === "penalty";
}

const CERTAIN = 0.9;
const SHARE = / \(seen so \d+ ?% of the time\)/;

/** What was seen, without the number that stands beside how sure it is. */
export function withoutShare(seen) {
  return seen.replace(SHARE, "");
}

const briefly = (seen) => withoutShare(seen).split(/[;:]/)[0];

/** The part of a line that is least sure, for whoever wants to know where to look first. */
export function leastSure(proposal) {
  const parts = [
    ...proposal.path.filter((step) => step.confidence !== null).map((step) => ({ text: step.words, sure: step.confidence })),
    ...proposal.on_the_way.filter((event) => !event.by_person).map((event) => ({ text: EVENTS[event.event].text.toLowerCase(), sure: event.confidence })),
    ...proposal.criteria.filter((criterion) => criterion.met !== null).map((criterion) => ({ text: criterion.met ? criterion.name : briefly(criterion.seen), sure: criterion.probability })),
  ];
  const counted = parts.filter((part) => part.sure < CERTAIN);
  return counted.reduce((least, part) => (least && least.sure <= part.sure ? least : part), null);
}

export const STATE_WORDS = {
  undecided: "Proposed",
  confirmed: "Confirmed",
  changed: "Changed",
  dismissed: "Dismissed",
  added: "Added by hand",
};

export const DISMISS_REASONS = [
  "Not held for three seconds",
  "Wrong athlete",
  "The position was another one",
  "A criterion was not met",
  "The footage does not show it",
];

export const FINDINGS = {
  possible_swap: "A and B may be exchanged here",
  merged: "Both skeletons may lie on one athlete",
  athlete_missing: "An athlete was not found",
  cut: "The camera changes its view",
};

export const WITHOUT_UPPER = ["standing", "scramble"];

/** "mount, Ines Vaz on top", "back control, Ines Vaz behind", "standing" */
export function stateText(state, names) {
  const { trade } = POSITIONS[state.position];
  return state.upper ? `${trade}, ${names[state.upper]} ${upperText(state.position)}` : trade;
}

/** Where the upper athlete of a position is. */
export function upperText(position) {
  return position === "back_control" ? "behind" : "on top";
}

/** What a person can mark; `who` asks for the athlete who does it. */
export const EVENTS = {
  start: { text: "The match starts (combate)" },
  stop: { text: "The clock stops (parou)" },
  end: { text: "The match ends" },
  penalty: { text: "Penalty (falta)", who: "Who is penalised?" },
  advantage: { text: "Advantage", who: "Who gets it?" },
  submission_locked: { text: "A submission is locked", who: "Who attacks?" },
  submission_released: { text: "The submission is escaped", who: "Who attacked?" },
  tap: { text: "Gives up (tap)", who: "Who taps?" },
  out_of_area: { text: "Out of the area", who: "Who defended?" },
  fled: { text: "Left the mat to avoid a score", who: "Who left?" },
  position_given_up: { text: "Gave up a position by choice", who: "Who gave it up?" },
  takedown_attempt: { text: "Begins a takedown", who: "Who attacks?" },
  guard_pull: { text: "Pulls guard", who: "Who pulls?" },
  trousers_grip: { text: "Grips the puller's trousers", who: "Who grips?" },
};

export const DOUBTFUL_BELOW = 0.6;

export function sureWords(probability) {
  if (probability >= 0.9) return "very sure";
  if (probability >= 0.75) return "fairly sure";
  if (probability >= 0.5) return "not very sure";
  return "a guess";
}

/** "fairly sure, 82 %": never 100 %, since only a person can be certain. */
export function sureText(probability) {
  const percent = Math.min(99, Math.max(1, Math.round(probability * 100)));
  return `${sureWords(probability)}, ${percent} %`;
}

export function stateOf(proposal) {
  return proposal.decision?.verdict ?? "undecided";
}

export function worth(award) {
  if (award.points) return `${award.points} points`;
  if (award.advantage) return "advantage";
  return award.kind === "penalty" ? "penalty" : "no points";
}

export function shortWorth(award) {
  if (award.points) return `+${award.points}`;
  if (award.advantage) return "adv";
  return award.kind === "penalty" ? "pen" : "0";
}

export function spaced(name) {
  return name.replaceAll("_", " ");
}
