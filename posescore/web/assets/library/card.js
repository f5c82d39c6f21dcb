// One match in the list: who, where, how it stands, and what can be done with it.

import { aftermath, divisionText, footageText, runText, stageText } from "./words.js";

/** @type {import("../vendor/vue.js").Component} */
export default {
  name: "MatchCard",
  props: {
    row: { type: Object, required: true }, fixed: { type: Boolean, default: false },
    chosen: { type: Boolean, default: null }, // null while matches are not chosen together
  },
  emits: ["details", "remove", "analyse", "stop", "choose"],
  template: `
    <article class="card" :class="'stage-' + row.stage" :aria-labelledby="'match-' + row.id">
      <label v-if="chosen !== null" class="card-choice"><input type="checkbox" :checked="chosen" :aria-label="'Choose ' + row.title" @change="$emit('choose', row)"></label>
      <h2 :id="'match-' + row.id"><a v-if="row.analysed" class="card-link" :href="'/match/' + row.id">{{ row.title }}</a><template v-else>{{ row.title }}</template></h2>
      <p class="about">{{ about }}</p>
      <img v-if="row.analysed && pictured" class="thumb" :src="'/api/matches/' + row.id + '/thumbnail'" alt="" width="400" height="225" loading="lazy" decoding="async" @error="pictured = false">
      <div class="pairing">
        <template v-for="(who, letter) in row.athletes" :key="letter">
          <b class="chip" :class="'chip-' + letter">{{ letter }}</b>
          <span>{{ who.shown }} <span class="hint">{{ marks(who) }}</span></span>
          <b class="num" :aria-label="points(letter) === '' ? null : points(letter) + ' points confirmed'">{{ points(letter) }}</b>
        </template>
      </div>
      <div class="waits">
        <p class="standing"><span class="stage-sign" aria-hidden="true"></span>{{ text }}</p>
        <template v-if="row.stage === 'analysing'">
          <progress :value="row.run.progress" max="1" :aria-label="'Analysis of ' + row.title"></progress>
          <p class="hint num">{{ progress }}</p></template>
        <p v-if="after" class="problem">{{ after }}</p>
        <p v-if="row.source && !row.source.there" class="problem">The footage is gone from {{ row.source.path }}. Add it again from where it lies now: the match finds it by its contents.</p>
      </div>
      <div v-if="!fixed" class="card-acts">
        <button v-if="isRunning || canAnalyse" type="button" class="quiet" :aria-label="(isRunning ? 'Stop the analysis of ' : again + ' with ') + row.title"
          @click="$emit(isRunning ? 'stop' : 'analyse', row)">{{ isRunning ? 'Stop' : again }}</button>
        <button type="button" class="quiet" aria-haspopup="dialog" :aria-label="'Details of ' + row.title" @click="$emit('details', row)">Details</button>
        <button type="button" class="quiet" aria-haspopup="dialog" :aria-label="'Delete ' + row.title" @click="$emit('remove', row)">Delete</button>
      </div>
    </article>`,
  data() {
    return { pictured: true };
  },
  computed: {
    about() {
      return [this.row.about, footageText(this.row), divisionText(this.row)].filter(Boolean).join(" · ");
    },
    text() {
      return stageText(this.row);
    },
    after() {
      return aftermath(this.row);
    },
    progress() {
      return runText(this.row.run);
    },
    isRunning() {
      return ["waiting", "analysing"].includes(this.row.stage);
    },
    /** What was stopped or broke off goes on from where it stood. */
    again() {
      return ["cancelled", "failed"].includes(this.row.run?.state) ? "Go on" : "Analyse";
    },
    canAnalyse() {
      return ["not_analysed", "failed"].includes(this.row.stage) && this.row.source?.there;
    },
  },
  methods: {
    /** What tells the two apart on the mat. */
    marks(who) {
      return [who.gi_colour && `${who.gi_colour} gi`, who.belt && `${who.belt} belt`].filter(Boolean).join(", ");
    },
    /** Confirmed points; nothing before anybody decided anything, which is not the same as 0. */
    points(letter) {
      const { standing } = this.row;
      return standing && standing.waiting < standing.total ? String(standing.points[letter] ?? 0) : "";
    },
  },
};
