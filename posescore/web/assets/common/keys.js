// The keys as data: what each does, its place in the overlay, and a person's own choice of key.

/** @typedef {{id: string, keys: string[], text: string, group: string}} Action */

/** @type {Action[]} */
export const ACTIONS = [
  { id: "play", keys: ["Space"], text: "Play or pause", group: "Move" },
  { id: "frame_back", keys: ["ArrowLeft"], text: "One frame back", group: "Move" },
  { id: "frame_on", keys: ["ArrowRight"], text: "One frame on", group: "Move" },
  { id: "jump_back", keys: ["Shift+ArrowLeft"], text: "5 seconds back", group: "Move" },
  { id: "jump_on", keys: ["Shift+ArrowRight"], text: "5 seconds on", group: "Move" },
  { id: "slower", keys: ["-"], text: "Slower", group: "Move" },
  { id: "faster", keys: ["+", "="], text: "Faster", group: "Move" },
  { id: "go", keys: ["g"], text: "Go to a time or frame", group: "Move" },
  { id: "repeat", keys: ["h"], text: "Repeat this hold", group: "Move" },
  { id: "hold_back", keys: ["PageUp"], text: "Start of the hold before", group: "Move" },
  { id: "hold_on", keys: ["PageDown"], text: "Start of the next hold", group: "Move" },
  { id: "start", keys: ["Home"], text: "To the start", group: "Move" },
  { id: "end", keys: ["End"], text: "To the end", group: "Move" },
  { id: "next", keys: ["n"], text: "Next to decide", group: "Decide" },
  { id: "previous", keys: ["Shift+N"], text: "Previous to decide", group: "Decide" },
  { id: "next_match", keys: ["Shift+M"], text: "Next match to decide", group: "Decide" },
  { id: "above", keys: ["ArrowUp"], text: "Proposal above", group: "Decide" },
  { id: "below", keys: ["ArrowDown"], text: "Proposal below", group: "Decide" },
  { id: "confirm", keys: ["y"], text: "Confirm", group: "Decide" },
  { id: "confirm_on", keys: ["Shift+Y"], text: "Confirm, and on to the next", group: "Decide" },
  { id: "change", keys: ["c"], text: "Change athlete, kind, points or time", group: "Decide" },
  { id: "dismiss", keys: ["x"], text: "Dismiss, with a reason", group: "Decide" },
  { id: "reopen", keys: ["o"], text: "Decide later (open again)", group: "Decide" },
  { id: "add", keys: ["a"], text: "Add one that was missed", group: "Decide" },
  { id: "undo", keys: ["u", "Ctrl+z"], text: "Undo", group: "Decide" },
  { id: "redo", keys: ["Shift+U", "Ctrl+Shift+Z", "Ctrl+y"], text: "Redo", group: "Decide" },
  { id: "begins", keys: ["b"], text: "The hold begins here", group: "Correct" },
  { id: "ends", keys: ["e"], text: "The hold ends here", group: "Correct" },
  { id: "edge_back", keys: [","], text: "Nearest edge one frame back", group: "Correct" },
  { id: "edge_on", keys: ["."], text: "Nearest edge one frame on", group: "Correct" },
  { id: "name", keys: ["r"], text: "Name the position", group: "Correct" },
  { id: "split", keys: ["t"], text: "Split the hold here", group: "Correct" },
  { id: "merge", keys: ["m"], text: "Merge with the next hold", group: "Correct" },
  { id: "remove", keys: ["Delete"], text: "Nothing is held here", group: "Correct" },
  { id: "mark", keys: ["i"], text: "Mark what happened here", group: "Correct" },
  { id: "swap", keys: ["w"], text: "Swap A and B from here on", group: "Correct" },
  { id: "swap_here", keys: ["Shift+W"], text: "Swap A and B in this stretch only", group: "Correct" },
  { id: "save", keys: ["l"], text: "Save and share: log, report, clips, lesson", group: "Decide" },
  { id: "result", keys: ["Shift+R"], text: "Result and scoreboard", group: "Decide" },
  { id: "history", keys: ["Shift+H"], text: "History of the match", group: "Decide" },
  { id: "keep", keys: ["Shift+K"], text: "Keep this moment in a set", group: "Decide" },
  { id: "evidence", keys: ["v"], text: "Evidence side by side", group: "Look" },
  { id: "enlarge", keys: ["4"], text: "This frame, enlarged", group: "Look" },
  { id: "still_1", keys: ["1"], text: "Frame where it begins", group: "Look" },
  { id: "still_2", keys: ["2"], text: "Frame where the count is over", group: "Look" },
  { id: "still_3", keys: ["3"], text: "Frame where it ends", group: "Look" },
  { id: "replay", keys: ["f"], text: "Play the evidence from its start", group: "Look" },
  { id: "zoom_in", keys: ["9"], text: "Closer to the footage (or the wheel, or two fingers)", group: "Look" },
  { id: "zoom_out", keys: ["8"], text: "Less close", group: "Look" },
  { id: "whole", keys: ["0"], text: "The whole picture", group: "Look" },
  { id: "follow", keys: ["7"], text: "Follow the pair", group: "Look" },
  { id: "full", keys: ["d"], text: "Full screen, and back", group: "Look" },
  { id: "sound", keys: ["Shift+S"], text: "Sound on or off", group: "Look" },
  { id: "skeletons", keys: ["s"], text: "Skeletons: both, A, B, none", group: "Look" },
  { id: "only", keys: ["k"], text: "List: all, points, near misses, to decide", group: "Look" },
  { id: "close_up", keys: ["z"], text: "Zoom the strip", group: "Look" },
  { id: "keys", keys: ["?"], text: "Show or hide these keys", group: "Look" },
];

const WATCHING = ["play", "frame_back", "frame_on", "jump_back", "jump_on", "slower", "faster", "start", "end", "zoom_in", "zoom_out", "whole", "follow", "full", "sound", "skeletons", "keys"];
const watching = ACTIONS.filter((action) => WATCHING.includes(action.id));

/** On the page of two opinions. */
export const OPINION_ACTIONS = [
  ...watching,
  { id: "next", keys: ["n"], text: "Next difference that is open", group: "Decide" },
  { id: "previous", keys: ["Shift+N"], text: "Previous difference that is open", group: "Decide" },
  { id: "above", keys: ["ArrowUp"], text: "Difference above", group: "Decide" },
  { id: "below", keys: ["ArrowDown"], text: "Difference below", group: "Decide" },
  { id: "one", keys: ["1"], text: "As the first has it", group: "Decide" },
  { id: "other", keys: ["2"], text: "As the second has it", group: "Decide" },
  { id: "neither", keys: ["3"], text: "As the shared log has it", group: "Decide" },
  { id: "undo", keys: ["u", "Ctrl+z"], text: "Undo in the shared log", group: "Decide" },
];

/** On the page of a lesson. */
export const LESSON_ACTIONS = [
  ...watching.filter((action) => action.id !== "play"),
  { id: "play", keys: ["Space"], text: "Go on, or pause", group: "Move" },
  { id: "next", keys: ["n", "ArrowDown"], text: "Next moment", group: "Move" },
  { id: "previous", keys: ["Shift+N", "ArrowUp"], text: "Moment before", group: "Move" },
  { id: "again", keys: ["f"], text: "The same moment again", group: "Move" },
];

/** On the page of sets. */
export const SET_ACTIONS = [
  ...watching,
  { id: "next", keys: ["n", "ArrowDown"], text: "Next moment", group: "Move" },
  { id: "previous", keys: ["Shift+N", "ArrowUp"], text: "Moment before", group: "Move" },
  { id: "again", keys: ["f"], text: "The same moment again", group: "Move" },
];

const ORDER = ["Decide", "Move", "Correct", "Look"];
const STORE = "posescore.keys";

/**
 * The key of an event as this page writes it: `Shift+ArrowLeft`, `Ctrl+z`, `?`.
 * @param {{key: string, ctrlKey: boolean, metaKey: boolean, shiftKey: boolean}} event
 */
export function keyName(event) {
  const ctrl = event.ctrlKey || event.metaKey ? "Ctrl+" : "";
  if (event.key === " ") return `${ctrl}Space`;
  const letter = event.key.length === 1 && event.key.toLowerCase() !== event.key.toUpperCase();
  const shift = event.shiftKey && (letter || event.key.length > 1) ? "Shift+" : "";
  const key = letter ? (event.shiftKey ? event.key.toUpperCase() : event.key.toLowerCase()) : event.key;
  return `${ctrl}${shift}${key}`;
}

export class Keys {
  /**
   * @param {Action[]} actions those of the page
   * @param {string} page what a person chose for keys of one page holds there alone
   */
  constructor(actions = ACTIONS, page = "") {
    this.actions = actions;
    this.groups = ORDER.filter((group) => actions.some((action) => action.group === group));
    this.store = page ? `${STORE}.${page}` : STORE;
    const kept = read(this.store);
    this.on = kept.on ?? true;
    /** @type {{[id: string]: string}} */
    this.own = kept.own ?? {};
  }

  /**
   * @param {string} id
   * @returns {string[]}
   */
  keysOf(id) {
    return this.own[id] ? [this.own[id]] : (this.actions.find((action) => action.id === id)?.keys ?? []);
  }

  /**
   * What a key does, or null.
   * @param {string} name
   */
  actionOf(name) {
    if (!this.on) return null;
    return this.actions.find((action) => this.keysOf(action.id).includes(name))?.id ?? null;
  }

  /**
   * A person's own key. Null gives the usual one back.
   * @param {string} id
   * @param {string | null} name
   * @returns {string} why not, "" where it is chosen
   */
  choose(id, name) {
    const before = name && this.actions.find((action) => action.id !== id && this.keysOf(action.id).includes(name));
    if (before) return `${shown(name)} already means: ${before.text}.`;
    if (name) this.own = { ...this.own, [id]: name };
    else delete this.own[id];
    this.keep();
    return "";
  }

  reset() {
    this.own = {};
    this.keep();
  }

  /** @param {boolean} on */
  turn(on) {
    this.on = on;
    this.keep();
  }

  keep() {
    try {
      localStorage.setItem(this.store, JSON.stringify({ on: this.on, own: this.own }));
    } catch {
      // A browser that keeps nothing still has the usual keys.
    }
  }
}

/** @param {string} store */
function read(store) {
  try {
    return JSON.parse(localStorage.getItem(store) ?? "{}") ?? {};
  } catch {
    return {};
  }
}

/**
 * The key as it is printed on a keyboard.
 * @param {string} name
 */
export function shown(name) {
  return name
    .replace("ArrowLeft", "\u2190").replace("ArrowRight", "\u2192")
    .replace("ArrowUp", "\u2191").replace("ArrowDown", "\u2193")
    .split("+").map((part) => (part.length === 1 ? part.toUpperCase() : part))
    .join(" ").trim() || "+";
}

/**
 * True while a person types, or a control of its own wants the key.
 * @param {KeyboardEvent} event
 */
export function isTaken(event) {
  const target = event.target;
  if (!(target instanceof Element)) return false;
  if (target.closest("input, textarea, select, [contenteditable], dialog")) return true;
  return (event.key === " " || event.key === "Enter") && target.closest("button, a, summary, [role=button]") !== null;
}
