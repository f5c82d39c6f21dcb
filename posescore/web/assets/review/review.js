// The review of one match: footage, strip, proposals and score, and every key.

import { Clock, clockText, shortClockText } from "../common/clock.js";
import { CloserWindow } from "./closer_still.js";
import { EventWindow, NameWindow } from "./correct_windows.js";
import { AwardWindow, DismissWindow, GoWindow, KeysWindow } from "./dialogs.js";
import { editing } from "./editing.js";
import { EvidenceWindow } from "./evidence.js";
import { ACTIONS } from "../common/keys.js";
import { KeepWindow } from "./keep_window.js";
import MatchLists from "./lists.js";
import { needs, nextNeed } from "./needs.js";
import ProposalList from "./proposals.js";
import { ResultPanel, ResultWindow } from "./result.js";
import { SaveWindow, makingText, saving } from "../common/saving.js";
import ScoreBoard from "./scoreboard.js";
import { ask } from "../common/server.js";
import FootageStage from "../common/stage.js";
import MatchStrip from "../common/strip.js";
import { template } from "./template.js";
import { HistoryWindow, MeanwhileWindow, fillFields, together, typedFields } from "./together.js";
import { TrackReader } from "../common/track.js";
import { PlayBar, keepAuthor, keptAuthor, somebody, watching } from "../common/watching.js";
import { KINDS, POSITIONS, STATE_WORDS, lineText, stateOf, sureText, upperText } from "../common/words.js";
import { WORDS } from "../common/words_data.js";

const CORRECTIONS = {
  begins: "Begins here", ends: "Ends here", name: "Name", split: "Split", merge: "Merge", remove: "Remove", mark: "Mark",
  swap: "Swap A and B from here",
};
const LEAD_S = 1;
/** Windows that come back, with what was typed, when the page is loaded again. */
const REOPENED = new Set(["change", "add", "dismiss", "name", "mark"]);
const KEPT_S = 5;

/** What the list can be narrowed to: a coach looks at one of them at a time. */
const ONLY = [
  { id: "all", text: "All", has: () => true },
  { id: "points", text: "Points", has: (award) => award.points > 0 },
  { id: "near", text: "Near misses", has: (award) => award.points === 0 },
  { id: "open", text: "To decide", has: (_award, proposal) => !proposal.decision },
];

/** @type {import("../vendor/vue.js").Component} */
export default {
  name: "ReviewRoom",
  mixins: [watching(ACTIONS)],
  components: {
    AwardWindow, CloserWindow, DismissWindow, EventWindow, EvidenceWindow, FootageStage, GoWindow, HistoryWindow, KeepWindow, KeysWindow, MatchLists, MatchStrip,
    MeanwhileWindow, NameWindow, PlayBar, ProposalList, ResultPanel, ResultWindow, SaveWindow, ScoreBoard,
  },
  props: {
    matchId: { type: Number, required: true },
    bones: { type: Array, required: true },
    opinion: { type: String, default: "" }, // whose independent review; empty for the shared log
  },
  template,
  data() {
    return {
      review: null, saving: false, loop: null, closeUp: false, selected: null, only: "all", need: null, needText: "", looked: new Set(),
      draft: null, outputs: [], author: this.opinion || keptAuthor(), nameless: somebody(), news: "", meanwhile: null, happened: null, shownAt: 0,
    };
  },
  computed: {
    ready() {
      return this.review !== null;
    },
    url() {
      return `/api/matches/${this.matchId}`;
    },
    page() {
      return `/match/${this.matchId}`;
    },
    placeKey() {
      return `posescore.place.${this.matchId}.${this.opinion}`;
    },
    names() {
      const athletes = this.review.match.athletes;
      return { A: athletes.A.shown, B: athletes.B.shown };
    },
    proposal() {
      return this.review?.proposals.find((proposal) => proposal.id === this.selected) ?? null;
    },
    /** The proposals in the list; the one that is selected stays in it. */
    listed() {
      return this.review.proposals.filter((one) => one.id === this.selected || this.isOf(this.only, one));
    },
    kinds() {
      return ONLY.map(({ id, text }) => ({ id, text, count: this.review.proposals.filter((one) => this.isOf(id, one)).length }));
    },
    evidenceState() {
      const state = stateOf(this.proposal);
      return state === "undecided" ? "" : STATE_WORDS[state];
    },
    /** What the stills of a proposal hang on. */
    about() {
      const swaps = this.review.swaps.map((swap) => `${swap.start_s}-${swap.end_s}`).join();
      return {
        url: this.url, opinion: this.opinion, skeletons: this.shown.A || this.shown.B,
        version: `${this.review.analysis_version}.${swaps}`,
      };
    },
    evidenceHeading() {
      const award = { ...this.proposal, ...this.proposal.decided_award };
      return `${KINDS[award.kind].plain}: ${this.names[award.athlete] ?? WORDS.nobody}, ${clockText(award.time_s)}`;
    },
    /** What is being made for saving, for the button that opens the window. */
    making() {
      return makingText(this.outputs);
    },
    unseenHeading() {
      return WORDS.unseen.heading;
    },
    openNeeds() {
      return needs(this.review, this.looked);
    },
    undecided() {
      return this.review.proposals.filter((proposal) => !proposal.decision).length;
    },
    hold() {
      const now = this.frame.time_s;
      return this.review.holds.find((hold) => hold.start_s <= now && now < hold.end_s) ?? null;
    },
    nowText() {
      if (!this.hold) return "scramble (in between, nothing settled)";
      const words = POSITIONS[this.hold.position];
      const who = this.hold.upper ? `, ${this.names[this.hold.upper]} ${upperText(this.hold.position)}` : "";
      return `${words.trade} (${words.plain})${who}, ${sureText(this.hold.confidence)}`;
    },
    /** Confirmed points by the instant that the footage shows. */
    scoreNow() {
      return this.review.curve.findLast((step) => step.time_s <= this.frame.time_s + 1e-6)?.points ?? { A: 0, B: 0 };
    },
    scoreNowText() {
      return `${this.scoreNow.A} to ${this.scoreNow.B}`;
    },
    matchClock() {
      const clock = this.review.match_clock;
      const now = this.frame.time_s;
      const run = clock.running.reduce((sum, [from, to]) => sum + Math.max(0, Math.min(now, to) - from), 0);
      const whole = clock.duration_s ? ` of ${shortClockText(clock.duration_s)}` : "";
      return `${shortClockText(run)}${whole}`;
    },
  },
  watch: {
    /** The evidence of a line closes with it: an edit, or the next thing that needs a person, can leave none. */
    proposal(now) {
      if (!now && this.open === "evidence") this.open = "";
    },
    /** What a person fills in is answered by what stood when it was opened. */
    open() {
      this.shownAt = this.review?.last_entry_id ?? 0;
    },
  },
  created() {
    this.waiting = []; // actions that came while an edit was on its way
    this.lately = new Map(); // lines that others changed a moment ago
    this.corrections = Object.entries(CORRECTIONS).map(([id, short]) => ({
      id, short, text: ACTIONS.find((action) => action.id === id)?.text,
    }));
    this.load();
  },
  mounted() {
    window.addEventListener("pagehide", this.keepPlace);
    document.addEventListener("visibilitychange", this.seenAgain);
  },
  beforeUnmount() {
    window.removeEventListener("pagehide", this.keepPlace);
    document.removeEventListener("visibilitychange", this.seenAgain);
    this.hush();
  },
  methods: {
    ...editing,
    ...saving,
    ...together,
    /** The name that edits carry. */
    me() {
      return this.author || this.nameless;
    },
    async load() {
      try {
        const asked = `${this.url}?${new URLSearchParams({ opinion: this.opinion, author: this.me() })}`;
        const [review, clock] = await Promise.all([ask(asked), Clock.load(`${this.url}/clock`)]);
        this.clock = Object.freeze(clock);
        this.track = review.track ? new TrackReader(review.track) : null;
        this.take(review);
        this.$nextTick(() => this.findPlace());
        this.listen();
        document.title = `${review.match.title} \u2013 PoseScore`;
      } catch (error) {
        this.trouble = error.message;
      }
    },
    take(review) {
      this.review = Object.freeze(review);
      if (this.track) {
        this.track.swaps = review.swaps;
        this.$refs.stage?.draw();
      }
      if (this.selected && !this.proposal) this.selected = null;
    },
    /** Loading the page again comes back to the same frame and proposal. */
    keepPlace() {
      if (!this.review) return;
      try {
        const typed = REOPENED.has(this.open) ? { open: this.open, draft: this.draft, shownAt: this.shownAt, fields: typedFields() } : null;
        sessionStorage.setItem(this.placeKey, JSON.stringify([this.frame.index, this.selected, typed]));
      } catch {
        // Then the page starts at the first frame.
      }
    },
    findPlace() {
      try {
        const [index, selected, typed] = JSON.parse(sessionStorage.getItem(this.placeKey) ?? "[]");
        if (this.review.proposals.some((proposal) => proposal.id === selected)) this.selected = selected;
        if (index > 0) this.$refs.stage.goTo(index);
        if (typed && !this.review.read_only) this.reopen(typed);
      } catch {
        // Nothing was kept.
      }
    },
    /** The window that was open, with everything typed, as the same person had seen the match. */
    async reopen({ open, draft, shownAt, fields }) {
      this.draft = draft;
      this.open = open;
      await this.$nextTick();
      this.shownAt = shownAt;
      await this.$nextTick();
      fillFields(fields);
    },
    acts() {
      return {
        go: () => this.show("go"),
        repeat: () => this.repeat(),
        hold_back: () => this.goToHold(-1),
        hold_on: () => this.goToHold(1),
        next: () => this.goToNeed(1),
        previous: () => this.goToNeed(-1),
        next_match: () => this.goToNextMatch(),
        keep: () => this.startKeeping(),
        above: () => this.move(-1),
        below: () => this.move(1),
        confirm: () => this.confirm(),
        confirm_on: () => this.confirmAndGoOn(),
        change: () => this.withProposal(() => this.startChange()),
        dismiss: () => this.withProposal(() => this.dismiss()),
        reopen: () => this.withProposal((proposal) => this.edit({ kind: "reopen", proposal: proposal.id })),
        add: () => this.startAdd(),
        undo: () => this.step("undo"),
        redo: () => this.step("redo"),
        ...this.corrections_at(this.frame.time_s),
        mark: () => this.mayEdit() && this.show("mark"),
        save: () => this.openSaving(),
        result: () => this.mayEdit() && this.show("result"),
        history: () => this.openHistory(),
        evidence: () => this.withProposal(() => (this.open === "evidence" ? this.close() : this.show("evidence"))),
        enlarge: () => this.lookCloser({ frame: this.frame.index }),
        only: () => this.nextOnly(),
        still_1: () => this.goToStill(0),
        still_2: () => this.goToStill(1),
        still_3: () => this.goToStill(2),
        replay: () => this.withProposal((proposal) => this.watchEvidence(proposal.start_s)),
        close_up: () => { this.closeUp = !this.closeUp; },
      };
    },
    repeat() {
      if (this.loop || !this.hold) {
        this.loop = null;
        return this.say("No repeat");
      }
      this.loop = { start_s: this.hold.start_s, end_s: this.hold.end_s };
      return this.say(`Repeats ${POSITIONS[this.hold.position].trade}`);
    },
    /** The next hold after the one that is shown, or the one before it: to name one after the other. */
    goToHold(direction) {
      const now = this.frame.time_s + 1e-6;
      const { holds } = this.review;
      const next = direction > 0 ? holds.find((hold) => hold.start_s > now) : holds.findLast((hold) => hold.end_s <= now);
      if (!next) return this.say(direction > 0 ? "No hold comes after this." : "No hold comes before this.");
      this.stillAt(next.start_s);
      return this.say(`${POSITIONS[next.position].trade}, ${clockText(next.start_s)} to ${clockText(next.end_s)}`);
    },
    goToNeed(direction) {
      const list = this.openNeeds;
      const next = nextNeed(list, this.need, this.frame.time_s, direction);
      if (!next) {
        this.needText = "";
        return this.say(`Nothing needs you any more. ${this.hint("next_match")}`);
      }
      if (this.need && !this.need.startsWith("p:")) this.looked.add(this.need);
      this.need = next.id;
      this.needText = next.swap && this.keys.on ? `${next.text} ${this.swapKeys()}` : next.text;
      this.selected = next.proposal ?? null;
      this.$refs.stage.pause();
      this.$refs.stage.goToTime(next.proposal ? next.look_s : next.from_s);
      return this.say(next.text || this.lineText());
    },
    /** What a line is about, or a few seconds around the frame that is shown. */
    startKeeping() {
      const [from, to] = this.proposal ? [this.proposal.start_s - LEAD_S, this.proposal.end_s + LEAD_S] : [this.frame.time_s - KEPT_S, this.frame.time_s + LEAD_S];
      this.draft = { start_s: Math.max(0, from), end_s: Math.min(this.clock.end, to) };
      this.show("keep");
    },
    async keepMoment(moment) {
      try {
        await ask(`${this.url}/moments`, { ...moment, author: this.author });
        this.open = "";
        this.say(`Kept: ${moment.sets.join(", ")}.`);
      } catch (error) {
        this.trouble = `Not saved: ${error.message}`;
      }
    },
    /** The next match in which somebody has something to decide, from this one on and around. */
    async goToNextMatch() {
      try {
        const asked = new URLSearchParams({ stage: "undecided", sort: "added", descending: "false", limit: "100" });
        const { matches } = await ask(`/api/library?${asked}`);
        const others = matches.map((row) => row.id).filter((id) => id !== this.matchId);
        const next = others.find((id) => id > this.matchId) ?? others[0];
        if (next === undefined) this.say("No other match has anything to decide.");
        else window.location.assign(`/match/${next}`);
      } catch (error) {
        this.trouble = error.message;
      }
    },
    /** The line that is chosen, for those who hear it. */
    lineText() {
      return this.proposal ? lineText(this.proposal, this.review.proposals, this.names, clockText) : "";
    },
    swapKeys() {
      return `${this.keyOf("swap")} swaps them from here on, ${this.keyOf("swap_here")} in this stretch alone.`;
    },
    move(by) {
      const list = this.listed;
      if (!list.length) return;
      const at = list.findIndex((proposal) => proposal.id === this.selected);
      const next = at < 0 ? (by > 0 ? 0 : list.length - 1) : Math.min(list.length - 1, Math.max(0, at + by));
      this.select(list[next].id);
    },
    select(id) {
      this.selected = id;
      this.need = `p:${id}`;
      this.needText = "";
      this.$refs.stage.pause();
      this.$refs.stage.goToTime(this.proposal.look_s);
      this.say(this.lineText());
    },
    isOf(only, proposal) {
      return ONLY.find((one) => one.id === only)?.has({ ...proposal, ...proposal.decided_award }, proposal);
    },
    nextOnly() {
      const at = ONLY.findIndex((one) => one.id === this.only);
      const next = ONLY[(at + 1) % ONLY.length];
      this.only = next.id;
      this.say(`Listed: ${next.text.toLowerCase()}`);
    },
    close() {
      this.open = "";
    },
    toggleSelect(id) {
      if (this.selected === id) this.selected = null;
      else this.select(id);
    },
    /** A frame, by its number or its time, in a window of its own. */
    lookCloser({ frame, time_s = 0, part = "", athlete = "" }) {
      this.draft = { frame: frame ?? this.clock.at(time_s + 1e-6), part, athlete };
      this.show("closer");
    },
    watchEvidence(startS) {
      this.$refs.stage.goToTime(Math.max(0, startS - LEAD_S));
      if (!this.playing) this.$refs.stage.toggle();
    },
    goToStill(number) {
      this.withProposal((proposal) => {
        const still = proposal.stills[Math.min(number, proposal.stills.length - 1)];
        this.stillAt(still.time_s);
        this.say(`${still.label}: ${clockText(still.time_s)}`);
      });
    },
    stillAt(seconds) {
      this.$refs.stage.pause();
      this.seek(seconds);
    },
    go(seconds) {
      this.open = "";
      this.seek(seconds);
    },
    openSaving() {
      this.show("save");
      this.knownOutputs();
    },
    formatAddress(format) {
      return `${this.url}/export?${new URLSearchParams({ format, opinion: this.opinion })}`;
    },
    nameChanged() {
      keepAuthor(this.author);
      this.refresh(); // undo is that of the new name
    },
  },
};
