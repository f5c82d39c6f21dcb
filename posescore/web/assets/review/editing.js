// Everything on the review page that changes the log. One edit at a time goes to the server; keys that come
// meanwhile wait for their turn, so that a fast hand loses nothing.

import { clockText } from "../common/clock.js";
import { edgeHere, mergeWithNext, nameable, named, nudge, removeHere, splitHere, stretchHere } from "./correct.js";
import { ask } from "../common/server.js";
import { EVENTS, KINDS, STATE_WORDS, awardText, stateText } from "../common/words.js";
import { WORDS } from "../common/words_data.js";

const MOST_WAITING = 20;

/** Actions whose meaning hangs on what the edit before leaves. */
const IN_TURN = new Set([
  "confirm", "confirm_on", "reopen", "undo", "redo", "swap", "swap_here", "begins", "ends", "edge_back", "edge_on", "split", "merge", "remove",
  "next", "previous",
]);

/** @type {import("../vendor/vue.js").Component} */
export const editing = {
  /** True where the action waits for the edit on its way. */
  waits(id) {
    if (!this.saving || !IN_TURN.has(id)) return false;
    if (this.waiting.length < MOST_WAITING) this.waiting.push(id);
    return true;
  },
  takeTurns() {
    while (this.waiting.length && !this.saving) this.act(this.waiting.shift());
  },
  withProposal(action) {
    if (this.proposal) return action(this.proposal);
    return this.say("Choose a proposal first: the next to decide, or the arrows up and down.");
  },
  /** False, and a sentence, where nothing can be changed. */
  mayEdit() {
    if (this.review.read_only) this.say(this.review.read_only);
    return !this.review.read_only;
  },
  confirm() {
    this.withProposal((proposal) => {
      if (proposal.added || !proposal.still_proposed) return this.say("This line has no proposal to confirm.");
      if (proposal.decision?.verdict === "confirmed" && !proposal.note) return this.say("This is confirmed already.");
      return this.edit({ kind: "confirm", proposal: proposal.id });
    });
  },
  /** Where nothing waits for a word here, it only goes on: so one key walks through a match. */
  async confirmAndGoOn() {
    const proposal = this.proposal;
    const open = proposal?.still_proposed && !proposal.decision;
    if (open && !(await this.edit({ kind: "confirm", proposal: proposal.id }))) return;
    this.goToNeed(1);
  },
  dismiss() {
    if (this.proposal.added) this.edit({ kind: "reopen", proposal: this.proposal.id });
    else if (this.mayEdit()) {
      this.draft = this.proposal;
      this.show("dismiss");
    }
  },
  startChange() {
    if (!this.mayEdit()) return;
    this.draft = { ...this.proposal, ...this.proposal.decided_award, proposed: { ...this.proposal, award: this.proposal.kind } };
    this.show("change");
  },
  startAdd() {
    if (!this.mayEdit()) return;
    const upper = this.hold?.upper ?? "A";
    const kind = KINDS[this.hold?.position] ? this.hold.position : "takedown";
    this.draft = { athlete: upper, kind, points: this.review.values[kind] ?? 0, advantage: 0, time_s: this.frame.time_s };
    this.show("add");
  },
  startName(now) {
    if (!this.mayEdit()) return;
    this.draft = nameable(this.review, now, this.clock.end);
    this.show("name");
  },
  /** What a window asks for; the window stays, with everything typed, until it is saved. */
  async saveFrom(edit) {
    if (await this.edit(edit)) this.open = "";
  },
  saveAward(award) {
    if (this.open === "add") return this.saveFrom({ kind: "add_award", ...award });
    return this.saveFrom({ kind: "change", proposal: this.draft.id, ...this.differing(award) });
  },
  /** What a person changed; everything else stays as proposed. */
  differing(award) {
    const { proposed } = this.draft;
    const different = Object.entries(award).filter(([name, value]) => name === "reason" || value !== proposed[name]);
    return Object.fromEntries(different);
  },
  saveDismiss(reason) {
    return this.saveFrom({ kind: "dismiss", proposal: this.draft.id, reason });
  },
  /** Result and scoreboard are two edits; the window stays until both are saved. */
  async saveResult(edits) {
    for (const edit of edits) {
      if (!(await this.edit(edit))) return;
      this.shownAt = this.review.last_entry_id;
    }
    this.open = "";
  },
  saveName(position, upper) {
    return this.saveFrom(named(this.draft, position, upper));
  },
  saveCheck(check, value) {
    return this.edit({ kind: "set_check", hold: this.proposal.hold, check, value });
  },
  correct(edit) {
    if (edit) this.edit(edit);
    else this.say("No hold is here.");
  },
  /** The corrections at the playhead, by their keys. */
  corrections_at(now) {
    return {
      begins: () => this.correct(edgeHere(this.review, now, "start")),
      ends: () => this.correct(edgeHere(this.review, now, "end")),
      edge_back: () => this.correct(nudge(this.review, now, -1, this.clock)),
      edge_on: () => this.correct(nudge(this.review, now, 1, this.clock)),
      name: () => this.startName(now),
      split: () => this.correct(splitHere(this.review, now)),
      merge: () => this.correct(mergeWithNext(this.review, now)),
      remove: () => this.correct(removeHere(this.review, now)),
      swap: () => this.edit({ kind: "swap_athletes", start_s: now }),
      swap_here: () => this.edit({ kind: "swap_athletes", ...stretchHere(this.review, now, this.clock.end) }),
    };
  },
  async edit(edit) {
    if (!this.mayEdit()) return false;
    return this.send(`${this.url}/edits`, { edit, seen: this.seenBy(edit) }, () => this.editSaid(edit));
  },
  async step(direction) {
    const entry = this.review[direction];
    if (!entry) return this.say(direction === "undo" ? "Nothing to undo." : "Nothing to redo.");
    const done = direction === "undo" ? "Undone" : "Done again";
    return this.mayEdit() && this.send(`${this.url}/${direction}`, {}, () => `${done}: ${entry}.`);
  },
  /** True once it is on the disk. */
  async send(url, body, words) {
    if (this.saving) return false;
    this.saving = true;
    try {
      const before = new Set(this.review.proposals.map((proposal) => proposal.id));
      const answer = await this.sendOrAsk(url, { ...body, author: this.me(), opinion: this.opinion });
      if (!answer) return false;
      this.take(answer);
      const marked = body.edit?.kind === "add_event";
      const made = this.review.proposals.find((proposal) => (proposal.added || marked) && !before.has(proposal.id));
      if (made) this.selected = made.id;
      this.trouble = "";
      this.say(`${words()} ${this.scoreText()}`);
      return true;
    } catch (error) {
      this.trouble = `Not saved: ${error.message}`;
      this.waiting.length = 0;
      return false;
    } finally {
      this.saving = false;
      this.hearLate();
      setTimeout(() => this.takeTurns()); // after what waits for this very edit
    }
  },
  /** What the server answers; null where somebody was faster and the person leaves it so. */
  async sendOrAsk(url, body) {
    try {
      return await ask(url, body);
    } catch (error) {
      if (!error.changed) throw error;
      this.waiting.length = 0;
      if (await this.whichStands(error.changed)) return this.sendOrAsk(url, { ...body, seen: error.changed.last_entry_id });
      this.saving = false;
      await this.refresh();
      this.open = "";
      return null;
    }
  },
  editSaid(edit) {
    const proposal = edit.kind === "add_award" ? this.proposal : this.review.proposals.find((one) => one.id === edit.proposal);
    if (edit.kind === "swap_athletes") {
      const until = edit.end_s === undefined ? "on" : `to ${clockText(edit.end_s)}`;
      return `A and B are swapped from ${clockText(edit.start_s)} ${until}.`;
    }
    if (edit.kind === "set_edge") return edit.edge === "start" ? `The start of the hold is ${clockText(edit.to_s)} now.` : `The end of the hold is ${clockText(edit.to_s)} now.`;
    if (edit.kind === "set_result" || edit.kind === "set_scoreboard") return `${this.review.ending.words} ${this.review.ending.official}`.trim();
    if (!proposal) return this.correctionSaid(edit);
    const award = { ...proposal, ...proposal.decided_award };
    const kind = award.kind === proposal.kind ? proposal.would_be ?? award.kind : award.kind;
    const what = `${awardText({ ...award, would_be: kind })}, ${this.names[award.athlete] ?? WORDS.nobody}`;
    const words = { add_award: STATE_WORDS.added, confirm: STATE_WORDS.confirmed, change: STATE_WORDS.changed, dismiss: STATE_WORDS.dismissed, reopen: "Open again" };
    const behind = proposal.behind_end ? ` ${WORDS.ended.behind}.` : "";
    return `${words[edit.kind]}: ${what}.${behind}`;
  },
  /** What a correction or a mark left, in one sentence. */
  correctionSaid(edit) {
    const who = (athlete) => (athlete ? `, ${this.names[athlete]}` : "");
    const sentences = {
      relabel: () => `Named: ${stateText(edit, this.names)}.`,
      add_hold: () => `Named: ${stateText(edit, this.names)}.`,
      split: () => `Split at ${clockText(edit.at_s)}.`,
      merge: () => "Merged with the next hold.",
      remove_hold: () => "Nothing is held here any more.",
      add_event: () => `Marked: ${EVENTS[edit.event].text}${who(edit.athlete)}, ${clockText(edit.time_s)}.`,
      remove_event: () => "The mark is gone.",
      add_award: () => `Added: ${awardText({ ...edit, kind: edit.award })}${who(edit.athlete)}, ${clockText(edit.time_s)}.`,
      set_check: () => "Noted. The points are worked out again.",
    };
    return sentences[edit.kind]?.() ?? "Saved.";
  },
  scoreText() {
    const score = this.review.score.confirmed;
    return `Score ${score.A.points} to ${score.B.points}.`;
  },
};
