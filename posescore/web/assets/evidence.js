// What a proposal can be judged by: frames, the way there, what the rule asks and what was seen.

import { clockText } from "posescore-room/clock.js";
import { POSITIONS, spaced, sureText } from "posescore-room/words.js";
import { Window } from "posescore-room/windows.js";

/** A hand that goes through the list faster than this looks at no still, and must not wait for any. */
const UNHURRIED_MS = 400;
const SIGNS = { yes: "\u2713", no: "\u2717", unknown: "?" };
const SIGN_WORDS = { yes: "Seen", no: "Not met", unknown: "Cannot tell" };

const SHARE = / \(seen so \d+ ?% of the time\)$/; // a number too many beside how sure it is

const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);

/** Frames with skeletons; pressing one shows it in the footage. */
export const StillRow = {
  name: "StillRow",
  props: {
    proposal: { type: Object, required: true },
    about: { type: Object, required: true }, // url, opinion, skeletons, version
    keyOf: { type: Function, default: () => "" },
    atOnce: { type: Boolean, default: false },
  },
  emits: ["seek"],
  template: `
    <ul class="stills" :aria-label="'Frames of ' + proposal.id">
      <li v-for="(still, i) in proposal.stills" :key="still.frame_index">
        <button type="button" class="still" @click="$emit('seek', still.time_s)">
          <span v-if="!due" class="still-due"></span>
          <img v-else :src="address(still)" width="480" height="270" loading="lazy" decoding="async"
            :alt="still.label + ', ' + text(still.time_s) + ', frame ' + still.frame_index" @error="gone = true">
          <span class="still-words"><b>{{ still.label }}</b> <span class="num">{{ text(still.time_s) }}</span>
            <kbd v-if="keyOf('still_' + (i + 1))">{{ keyOf('still_' + (i + 1)) }}</kbd></span></button></li>
    </ul>
    <p v-if="gone" class="trade">pictures need the footage, and it is not there</p>`,
  data() {
    return { gone: false, due: this.atOnce };
  },
  mounted() {
    this.timer = setTimeout(() => { this.due = true; }, UNHURRIED_MS);
  },
  beforeUnmount() {
    clearTimeout(this.timer);
  },
  methods: {
    text: clockText,
    address(still) {
      const asked = new URLSearchParams({ opinion: this.about.opinion, skeletons: this.about.skeletons, v: this.about.version });
      return `${this.about.url}/stills/${still.frame_index}?${asked}`;
    },
  },
};

/** The positions that led there, in the trade's words with plain ones beside. */
export const PathThere = {
  name: "PathThere",
  props: { path: { type: Array, required: true } },
  emits: ["seek"],
  template: `
    <div v-if="path.length" class="path"><h2>How it came</h2>
      <ol><li v-for="(step, i) in path" :key="i">
        <button v-if="step.start_s !== null" type="button" class="quiet num" @click="$emit('seek', step.start_s)">{{ text(step.start_s) }}</button>
        <span><b>{{ step.words }}</b> <span v-if="step.position" class="trade">{{ plain(step) }}</span><span
        v-if="step.start_s !== null" class="num soft">, {{ (step.end_s - step.start_s).toFixed(1) }} s</span></span></li></ol></div>`,
  methods: {
    text: clockText,
    plain(step) {
      return POSITIONS[step.position].plain;
    },
  },
};

/** Every published criterion, what was seen and how sure; a person can say it was otherwise. */
export const CriterionList = {
  name: "CriterionList",
  props: {
    proposal: { type: Object, required: true },
    busy: { type: Boolean, default: false },
    locked: { type: Boolean, default: false },
    brief: { type: Boolean, default: false },
  },
  emits: ["check"],
  template: `
    <div v-if="rows.length || proposal.asks">
      <h2>What the rule asks<template v-if="proposal.clause"> (rule {{ proposal.clause }})</template></h2>
      <p v-if="proposal.asks" class="asks">{{ proposal.asks }}</p>
      <ul class="criteria">
        <li v-for="(row, i) in rows" :key="i" :class="['met-' + row.state, {decides: row.decides}]">
          <span class="sign" aria-hidden="true">{{ row.sign }}</span>
          <span><b>{{ row.title }}</b> <span class="met">{{ row.word }}<template v-if="row.decides">: this one decides</template></span>
            <span class="seen">{{ row.seen }}</span>
            <span class="sure">{{ row.beside }}</span>
            <span v-if="row.check && proposal.hold && !locked" class="answers">
              <button v-if="row.state !== 'yes'" type="button" class="quiet" :disabled="busy" @click="$emit('check', row.check, row.if_met)">I saw that it was met</button>
              <button v-if="row.state !== 'no'" type="button" class="quiet" :disabled="busy" @click="$emit('check', row.check, row.if_not)">I saw that it was not</button></span></span>
        </li>
      </ul></div>`,
  computed: {
    rows() {
      const first = (criterion) => (criterion.decides ? 0 : 1);
      return [...this.proposal.criteria].sort((a, b) => first(a) - first(b)).map((criterion) => {
        const state = criterion.met === null ? "unknown" : criterion.met ? "yes" : "no";
        return {
          ...criterion, state, seen: this.brief ? criterion.seen.replace(SHARE, "") : criterion.seen,
          title: capital(spaced(criterion.name)), sign: SIGNS[state], word: SIGN_WORDS[state],
          beside: [state !== "unknown" && sureText(criterion.probability), criterion.clause && `rule ${criterion.clause}`]
            .filter(Boolean).join(" \u00b7 "),
        };
      });
    },
  },
};

/** Everything of one proposal side by side, for a crew around one screen. */
export const EvidenceWindow = {
  name: "EvidenceWindow",
  components: { CriterionList, PathThere, StillRow, Window },
  props: {
    proposal: { type: Object, required: true },
    heading: { type: String, required: true },
    about: { type: Object, required: true },
    busy: { type: Boolean, default: false },
    locked: { type: Boolean, default: false },
  },
  emits: ["close", "seek", "check"],
  template: `
    <Window :heading="heading" wide @close="$emit('close')">
      <div class="evidence">
        <p class="told">{{ proposal.told.join(' ') }}</p>
        <StillRow at-once :proposal="proposal" :about="about" @seek="$emit('seek', $event)"></StillRow>
        <p class="why"><span class="label">In the trade's words</span>{{ proposal.why }}</p>
        <div class="evidence-sides">
          <PathThere :path="proposal.path" @seek="$emit('seek', $event)"></PathThere>
          <CriterionList :proposal="proposal" :busy="busy" :locked="locked" @check="(check, value) => $emit('check', check, value)"></CriterionList>
        </div>
      </div>
    </Window>`,
};
