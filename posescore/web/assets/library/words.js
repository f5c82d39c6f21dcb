// What the list of matches says, in words.

import { shortClockText } from "../common/clock.js";

/** The choices of the filter by where a match stands. */
export const GROUPS = /** @type {{id: string, text: string, stages: string[]}[]} */ ([
  { id: "all", text: "All", stages: [] },
  { id: "yours", text: "To decide", stages: ["undecided"] },
  { id: "running", text: "In analysis", stages: ["waiting", "analysing"] },
  { id: "settled", text: "All decided", stages: ["decided"] },
  { id: "open", text: "Not analysed", stages: ["not_analysed", "failed"] },
]);

export const SORTS = [
  { id: "added", text: "Last added first", descending: true },
  { id: "changed", text: "Last worked on first", descending: true },
  { id: "undecided", text: "Most undecided first", descending: true },
  { id: "held_on", text: "Day of the match, latest first", descending: true },
  { id: "event", text: "Event, A to Z", descending: false },
  { id: "title", text: "Title, A to Z", descending: false },
];

export const GI_COLOURS = ["white", "blue", "black"];

/**
 * @param {number} number
 * @param {string} one
 * @param {string} more
 */
export function many(number, one, more) {
  return `${number} ${number === 1 ? one : more}`;
}

/**
 * How long something still takes: never finer than anybody can know.
 * @param {number | null} seconds
 */
function leftText(seconds) {
  if (seconds === null) return "";
  if (seconds < 8) return "a few seconds left";
  if (seconds < 90) return `about ${Math.round(seconds / 10) * 10} s left`;
  if (seconds < 5400) return `about ${Math.round(seconds / 60)} min left`;
  return `about ${(seconds / 3600).toFixed(1)} h left`;
}

/** @param {number} bytes */
export function sizeText(bytes) {
  if (bytes >= 1e9) return `${(bytes / 1e9).toFixed(1)} GB`;
  return bytes >= 1e5 ? `${(bytes / 1e6).toFixed(1)} MB` : `${Math.max(1, Math.round(bytes / 1e3))} kB`;
}

/**
 * "43 %, takes 0.8 times the footage's length, about 2 min left"
 * @param {Run} run
 */
export function runText(run) {
  const parts = [`${Math.floor(run.progress * 100)} %`];
  if (run.rate) parts.push(`takes ${(1 / run.rate).toFixed(1)} times the footage's length`);
  parts.push(leftText(run.remaining_s));
  return parts.filter(Boolean).join(", ");
}

/**
 * Where a match stands, in one sentence.
 * @param {Row} row
 */
export function stageText(row) {
  const { run, standing } = row;
  /** @type {{[stage: string]: () => string}} */
  const sentences = {
    waiting: () => (run?.ahead ? `Waits for its turn, ${run.ahead} before it.` : "Waits for its turn, next in line."),
    analysing: () => `Being analysed: ${run?.stage || "starting"}.`,
    failed: () => standing?.trouble || run?.message || "The analysis failed.",
    not_analysed: () => (run?.state === "cancelled" ? "The analysis was stopped; what it found is kept." : "Not analysed yet."),
    undecided: () => (!standing?.total ? "Nothing was proposed: look for yourself." : `${standing?.waiting} of ${many(standing?.total ?? 0, "proposal", "proposals")} to decide.`),
    decided: () => (standing?.total ? "All decided." : "Nothing was proposed, and somebody looked."),
  };
  return sentences[row.stage]();
}

/**
 * Only where an analysis that came after a good one went wrong, or an old one is in doubt.
 * @param {Row} row
 */
export function aftermath(row) {
  if (!row.standing || row.run?.state !== "failed") return row.standing?.doubt || "";
  return `Analysing it again failed: ${row.run.message}`;
}

/**
 * How long the footage is, and its day where the match has none.
 * @param {Row} row
 */
export function footageText(row) {
  const day = row.held_on ? "" : row.source?.made_on ?? "";
  const long = row.duration_s ? `${shortClockText(row.duration_s)} of footage` : "";
  return [long, day].filter(Boolean).join(", ");
}

/** @param {Row} row */
export function divisionText(row) {
  if (!row.division) return "";
  const words = [row.division.age, row.division.belt].filter(Boolean).join(" ");
  return row.match_time_s ? `${words}, match time ${row.match_time_s / 60} min` : words;
}
