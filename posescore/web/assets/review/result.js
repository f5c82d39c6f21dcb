// How the match ended: the result, what the scoreboard showed, and where log and scoreboard differ.

import { clockText } from "../common/clock.js";
import { Window } from "../common/windows.js";
import { WORDS } from "../common/words_data.js";
import { filled } from "./together.js";

const NUMBERS = ["points", "advantages", "penalties"];
const NOTHING = { points: 0, advantages: 0, penalties: 0 };

/** @type {import("../vendor/vue.js").Component} */
export const ResultPanel = {
  name: "ResultPanel",
  props: { ending: { type: Object, required: true }, hint: { type: String, default: "" }, keyShown: { type: String, default: "" } },
  emits: ["open", "seek"],
  template: `
    <section class="board ending" :aria-label="words.heading">
      <p class="board-line"><span>{{ ending.words || outcome.none }}</span>
        <button type="button" aria-haspopup="dialog" :title="hint" @click="$emit('open')">{{ words.open }} <kbd v-if="keyShown">{{ keyShown }}</kbd></button></p>
      <p v-if="ending.end" class="board-line"><span>{{ ending.end.words }}</span></p>
      <p v-if="ending.official" class="board-line"><span><template v-if="differs"><span aria-hidden="true">\u26a0 </span></template>{{ ending.official }}</span></p>
      <details v-if="ending.differences.length" class="as-list" @toggle="shown = $event.target.open"><summary>{{ other.heading }}</summary>
        <div v-if="shown" class="scroll" tabindex="0" role="region" :aria-label="other.heading"><table class="differences">
          <thead><tr><th scope="col">{{ other.moment }}</th><th scope="col">{{ other.proposed }}</th><th scope="col">{{ other.confirmed }}</th><th v-if="hasBoard" scope="col">{{ other.board }}</th></tr></thead>
          <tbody><tr v-for="(row, i) in ending.differences" :key="i" :class="{differs: row.differs}">
            <th scope="row"><button v-if="row.time_s !== null" type="button" class="quiet num" @click="$emit('seek', row.time_s)">{{ text(row.time_s) }}</button><template v-else>{{ other.end }}</template> {{ row.what }}</th>
            <td>{{ row.proposed }}</td><td>{{ row.confirmed }}</td><td v-if="hasBoard">{{ row.board }}</td></tr></tbody></table></div></details>
    </section>`,
  data() {
    return { shown: false };
  },
  computed: {
    words() {
      return WORDS.result_window;
    },
    other() {
      return WORDS.differences;
    },
    outcome() {
      return WORDS.outcome;
    },
    hasBoard() {
      return this.ending.readings.length > 0;
    },
    differs() {
      return this.ending.differences.some((row) => row.board && row.differs);
    },
  },
  methods: { text: clockText },
};

/** @type {import("../vendor/vue.js").Component} */
export const ResultWindow = {
  name: "ResultWindow",
  components: { Window },
  props: {
    ending: { type: Object, required: true },
    names: { type: Object, required: true },
    playheadS: { type: Number, required: true },
    busy: { type: Boolean, default: false },
  },
  emits: ["close", "save"], // a list of edits, one after the other
  template: `
    <Window :heading="words.heading" wide @close="$emit('close')">
      <form class="award" @submit.prevent="save">
        <fieldset><legend>{{ words.winner }}</legend>
          <label v-for="(one, i) in ['A', 'B']" :key="one" class="choice"><input type="radio" name="winner" :value="one" v-model="winner" :data-first="i === 0 ? '' : null">
            <b class="chip" :class="'chip-' + one">{{ one }}</b> {{ names[one] }}</label>
          <label class="choice"><input type="radio" name="winner" value="draw" v-model="winner"> {{ words.nobody }}</label>
          <label class="choice"><input type="radio" name="winner" value="" v-model="winner"> {{ words.unknown }}</label></fieldset>
        <div class="pair" v-if="winner && winner !== 'draw'">
          <label class="field">{{ words.by }} <select v-model="by"><option v-for="(text, id) in ways" :key="id" :value="id">{{ text }}</option></select></label>
          <label v-if="by === 'submission'" class="field">{{ words.submission }} <input type="text" v-model="submission" list="submissions" maxlength="80" autocomplete="off">
            <datalist id="submissions"><option v-for="name in words.submissions" :key="name" :value="name"></option></datalist></label></div>
        <label v-if="winner" class="field">{{ words.note }} <input type="text" v-model="note" maxlength="200"></label>
        <fieldset class="official"><legend>{{ words.official }}</legend>
          <label class="choice"><input type="checkbox" v-model="known"> {{ words.has_official }}</label>
          <template v-if="known">
            <label class="field">{{ words.when }} <select v-model="at" @change="fill"><option value="">{{ words.at_end }}</option>
              <option v-for="one in instants" :key="one.at_s" :value="String(one.at_s)">{{ one.text }}</option></select></label>
            <table class="official-score"><thead><tr><td></td><th v-for="number in numbers" :key="number" scope="col">{{ words[number] }}</th></tr></thead>
              <tbody><tr v-for="one in ['A', 'B']" :key="one"><th scope="row"><b class="chip" :class="'chip-' + one">{{ one }}</b> {{ names[one] }}</th>
                <td v-for="number in numbers" :key="number"><input type="number" min="0" max="99" step="1" required v-model.number="score[one][number]" :aria-label="words[number] + ', ' + names[one]"></td></tr></tbody></table>
          </template></fieldset>
        <div class="acts"><button type="submit" class="primary" :disabled="busy">{{ words.save }} <kbd>Enter</kbd></button></div>
      </form>
    </Window>`,
  data() {
    const { outcome } = this.ending;
    return {
      winner: outcome ? outcome.winner ?? "draw" : "", by: outcome && outcome.by !== "draw" ? outcome.by : "points",
      submission: outcome?.submission ?? "", note: outcome?.note ?? "", at: "", known: this.reading(null) !== null,
      score: this.scoreOf(null), numbers: NUMBERS,
    };
  },
  computed: {
    words() {
      return WORDS.result_window;
    },
    ways() {
      return Object.fromEntries(Object.entries(WORDS.won_by).filter(([id]) => id !== "draw"));
    },
    /** The playhead, and every instant that was read before. */
    instants() {
      const read = this.ending.readings.filter((one) => one.at_s !== null).map((one) => ({ at_s: one.at_s, text: clockText(one.at_s) }));
      const here = { at_s: this.playheadS, text: filled(WORDS.result_window.at_playhead, { time: clockText(this.playheadS) }) };
      return read.some((one) => one.at_s === here.at_s) ? read : [here, ...read];
    },
  },
  methods: {
    instant() {
      return this.at === "" ? null : Number(this.at);
    },
    reading(atS) {
      return this.ending.readings.find((one) => one.at_s === atS) ?? null;
    },
    scoreOf(atS) {
      const { score } = this.reading(atS) ?? {};
      return { A: { ...NOTHING, ...score?.A }, B: { ...NOTHING, ...score?.B } };
    },
    fill() {
      this.score = this.scoreOf(this.instant());
    },
    /** Only what differs from what is entered already. */
    save() {
      const edits = [];
      const { outcome } = this.ending;
      const submission = this.by === "submission" ? this.submission.trim() : "";
      const now = this.winner === "" ? null
        : this.winner === "draw" ? { winner: null, by: "draw", submission: "", note: this.note.trim() }
          : { winner: this.winner, by: this.by, submission, note: this.note.trim() };
      if (JSON.stringify(now) !== JSON.stringify(outcome)) edits.push({ kind: "set_result", ...(now ?? { by: null }) });
      const atS = this.instant();
      const before = this.reading(atS);
      const score = this.known ? this.score : null;
      if (JSON.stringify(score) !== JSON.stringify(before?.score ?? null)) edits.push({ kind: "set_scoreboard", at_s: atS, score });
      this.$emit("save", edits);
    },
  },
};
