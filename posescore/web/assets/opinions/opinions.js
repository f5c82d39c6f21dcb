// Two people's reviews of one match side by side: where they differ, how far they agree, and settling it.

import { Clock, clockText } from "../common/clock.js";
import { KeysWindow } from "../review/dialogs.js";
import { CriterionList } from "../review/evidence.js";
import { OPINION_ACTIONS } from "../common/keys.js";
import { agreed, difference, lineDifference, spokenAward } from "./words.js";
import { template } from "./template.js";
import { ask } from "../common/server.js";
import FootageStage from "../common/stage.js";
import MatchStrip from "../common/strip.js";
import { TrackReader } from "../common/track.js";
import { PlayBar, keepAuthor, keptAuthor, somebody, watching } from "../common/watching.js";
import { stateText } from "../common/words.js";
import { WORDS } from "../common/words_data.js";

/** @type {import("../vendor/vue.js").Component} */
export default {
  name: "OpinionRoom",
  mixins: [watching(OPINION_ACTIONS, "opinions")],
  components: { CriterionList, FootageStage, KeysWindow, MatchStrip, PlayBar },
  props: {
    matchId: { type: Number, required: true },
    bones: { type: Array, required: true },
    first: { type: String, default: "" }, // from the address; empty: chosen here
    second: { type: String, default: "" },
  },
  template,
  data() {
    return {
      opinions: null, one: "", other: "", shared: null, reviews: {}, comparison: null, selected: 0, saving: false,
      author: keptAuthor(), nameless: somebody(), newName: "",
    };
  },
  computed: {
    callWords() {
      return WORDS.call;
    },
    url() {
      return `/api/matches/${this.matchId}`;
    },
    page() {
      return `/match/${this.matchId}`;
    },
    ready() {
      return this.comparison !== null;
    },
    names() {
      const athletes = this.shared.match.athletes;
      return { A: athletes.A.shown, B: athletes.B.shown };
    },
    people() {
      return this.opinions.map((opinion) => ({
        ...opinion, text: this.called(opinion.name),
        done: `${opinion.lines - opinion.undecided} of ${opinion.lines} decided`,
      }));
    },
    /** Lines and stretches that differ, in the order of the match. */
    differences() {
      const found = this.comparison;
      return [
        ...found.lines.filter((line) => line.differs).map((line) => lineDifference(line, this.names)),
        ...found.stretches.map((stretch) => difference(stretch, this.names)),
      ].sort((a, b) => a.time_s - b.time_s);
    },
    openCount() {
      return this.differences.filter((each) => !each.settled).length;
    },
    waiting() {
      return this.comparison.lines.filter((line) => line.one === null || line.other === null).map((line) => ({
        ...line, words: spokenAward(line.what, this.names),
        who: [line.one === null && this.called(this.one), line.other === null && this.called(this.other)].filter(Boolean).join(" and "),
      }));
    },
    numbers() {
      const found = this.comparison;
      return [
        { name: "Positions over time", kappa: found.position_kappa, words: agreed(found.position_kappa), beside: `same position ${Math.round(100 * found.same_position)} % of the time` },
        { name: "Awards", kappa: found.award_kappa, words: agreed(found.award_kappa), beside: this.awardsBeside },
      ];
    },
    awardsBeside() {
      const both = this.comparison.lines.filter((line) => line.one !== null && line.other !== null);
      return `${both.filter((line) => !line.differs).length} of ${both.length} lines that both decided are the same`;
    },
    bars() {
      return this.differences.map((each, i) => ({
        key: each.id, index: i, settled: !!each.settled, title: `${clockText(each.time_s)}: ${each.title}`,
        style: { left: `${(100 * each.time_s) / this.clock.end}%`, width: `${(100 * (each.end_s - each.time_s)) / this.clock.end}%` },
      }));
    },
  },
  created() {
    this.load();
  },
  methods: {
    /** The shared log with the undo of whoever sits here. */
    mine() {
      return `${this.url}?${new URLSearchParams({ author: this.author || this.nameless })}`;
    },
    /** The line itself as a person has it. */
    proposalOf(name, key) {
      return this.reviews[name]?.proposals.find((proposal) => proposal.id === key) ?? null;
    },
    reasonOf(each, name) {
      const said = this.proposalOf(name, each[`${name}_key`])?.decision?.reason;
      return said ? `\u201c${said}\u201d` : "";
    },
    judged(each) {
      return this.proposalOf("one", each.one_key) ?? this.proposalOf("other", each.other_key);
    },
    sheet(each) {
      return `${this.page}/call?${new URLSearchParams({ line: each.line, one: this.one, other: this.other })}`;
    },
    called(name) {
      return name || "the shared log";
    },
    stateText(state) {
      return stateText(state, this.names);
    },
    async load() {
      try {
        const [opinions, shared, clock] = await Promise.all([
          ask(`${this.url}/opinions`), ask(this.mine()), Clock.load(`${this.url}/clock`),
        ]);
        this.clock = Object.freeze(clock);
        this.shared = Object.freeze(shared);
        this.track = shared.track ? new TrackReader(shared.track) : null;
        if (this.track) this.track.swaps = shared.swaps;
        this.opinions = opinions;
        document.title = `Second opinion: ${shared.match.title} \u2013 PoseScore`;
        this.choosePair();
        await this.compare();
      } catch (error) {
        this.trouble = error.message;
      }
    },
    /** The two of the address, else the two newest; the shared log where there is one only. */
    choosePair() {
      const known = this.opinions.map((opinion) => opinion.name);
      const apart = known.filter(Boolean);
      this.one = known.includes(this.first) && this.first ? this.first : apart[0] ?? "";
      const rest = apart.filter((name) => name !== this.one);
      this.other = known.includes(this.second) && this.second !== this.one ? this.second || rest[0] || "" : rest[0] ?? "";
    },
    async compare() {
      this.comparison = null;
      if (this.one === this.other) return;
      try {
        const asked = (opinion) => ask(`${this.url}?${new URLSearchParams({ opinion })}`);
        const [found, one, other] = await Promise.all([
          ask(`${this.url}/comparison?${new URLSearchParams({ one: this.one, other: this.other })}`), asked(this.one), asked(this.other),
        ]);
        this.reviews = Object.freeze({ one, other });
        this.take(found);
        history.replaceState(null, "", `?${new URLSearchParams({ one: this.one, other: this.other })}`);
      } catch (error) {
        this.trouble = error.message;
      }
    },
    take(found) {
      this.comparison = Object.freeze(found);
      this.selected = Math.min(this.selected, Math.max(0, this.differences.length - 1));
    },
    acts() {
      return {
        next: () => this.move(1, true),
        previous: () => this.move(-1, true),
        above: () => this.move(-1, false),
        below: () => this.move(1, false),
        one: () => this.settle(this.differences[this.selected], "one"),
        other: () => this.settle(this.differences[this.selected], "other"),
        neither: () => this.settle(this.differences[this.selected], "neither"),
        undo: () => this.undo(),
      };
    },
    move(by, open) {
      const list = this.differences;
      for (let at = this.selected + by, steps = 0; steps < list.length; at += by, steps += 1) {
        const index = (at + list.length) % list.length;
        if (!open || !list[index].settled) return this.select(index);
      }
      if (open && list.length && !list[this.selected].settled) return this.select(this.selected);
      return this.say(list.length ? "Every difference is settled." : "They do not differ.");
    },
    select(index) {
      this.selected = index;
      this.$refs.stage.pause();
      this.seek(this.differences[index].time_s);
      this.$nextTick(() => document.getElementById(`difference-${index}`)?.scrollIntoView({ block: "nearest" }));
    },
    async settle(what, taken) {
      if (!what || this.saving) return;
      await this.change(`${this.url}/settle`, { one: this.one, other: this.other, taken, ...what.settles }, `Settled: ${what.title}.`);
    },
    async undo() {
      if (!this.shared.undo) return this.say("Nothing to undo.");
      return this.change(`${this.url}/undo`, {}, `Undone: ${this.shared.undo}.`);
    },
    async change(url, body, said) {
      this.saving = true;
      try {
        await ask(url, { ...body, author: this.author || this.nameless });
        const [found, shared] = await Promise.all([
          ask(`${this.url}/comparison?${new URLSearchParams({ one: this.one, other: this.other })}`), ask(this.mine()),
        ]);
        this.shared = Object.freeze(shared);
        this.take(found);
        this.trouble = "";
        this.say(said);
      } catch (error) {
        this.trouble = `Not saved: ${error.message}`;
      } finally {
        this.saving = false;
      }
    },
    nameChanged() {
      keepAuthor(this.author);
    },
    begin() {
      const name = this.newName.trim();
      if (name) window.location.assign(`${this.page}?${new URLSearchParams({ opinion: name })}`);
    },
  },
};
