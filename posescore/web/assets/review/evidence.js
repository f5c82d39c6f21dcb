// What a proposal can be judged by: frames, the way there, what the rule asks and what was seen.

import { clockText } from "../common/clock.js";
import { keyName } from "../common/keys.js";
import { stillAddress } from "./closer_still.js";
import { EVENTS, PARTS, POSITIONS, answersTo, capital, leastSure, seenText, spaced, sureText, unlookedText } from "../common/words.js";
import { Window } from "../common/windows.js";

/** A hand that goes through the list faster than this looks at no still, and must not wait for any. */
const UNHURRIED_MS = 400;
const SIGNS = { yes: "\u2713", no: "\u2717", unknown: "?" };
const SIGN_WORDS = { yes: "Seen", no: "Not met", unknown: "Cannot tell" };

/**
 * Frames with skeletons; pressing one shows it in the footage.
 * @type {import("../vendor/vue.js").Component}
 */
export const StillRow = {
  name: "StillRow",
  props: {
    proposal: { type: Object, required: true },
    about: { type: Object, required: true }, // url, opinion, skeletons, version
    keyOf: { type: Function, default: () => "" },
    atOnce: { type: Boolean, default: false },
  },
  emits: ["seek", "closer"],
  template: `
    <ul class="stills" aria-label="Frames of this line">
      <li v-for="(still, i) in proposal.stills" :key="still.frame_index">
        <button type="button" class="still" @click="$emit('seek', still.time_s)">
          <span v-if="!due" class="still-due"></span>
          <img v-else :src="address(still)" width="480" height="270" loading="lazy" decoding="async"
            :alt="still.label + ', ' + text(still.time_s) + ', frame ' + still.frame_index" @error="gone = true">
          <span class="still-words"><b>{{ still.label }}</b> <span class="num">{{ text(still.time_s) }}</span>
            <kbd v-if="keyOf('still_' + (i + 1))">{{ keyOf('still_' + (i + 1)) }}</kbd></span></button>
        <button type="button" class="quiet enlarge" :aria-label="'Enlarge: ' + still.label + ', ' + text(still.time_s)" @click="$emit('closer', {frame: still.frame_index})">Enlarge</button></li>
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
      return stillAddress(this.about, still.frame_index);
    },
  },
};

/**
 * How sure all of it together is, and which part of it least.
 * @type {import("../vendor/vue.js").Component}
 */
export const HowSure = {
  name: "HowSure",
  props: { proposal: { type: Object, required: true } },
  template: `
    <p class="how-sure">All of it together: <b>{{ whole }}</b><template v-if="least">. Least sure: {{ least.text }}, {{ least.words }}</template>.
      <template v-if="unlooked"> <span aria-hidden="true">\u26a0 </span>{{ unlooked }}.</template></p>`,
  computed: {
    unlooked() {
      return unlookedText(this.proposal);
    },
    whole() {
      return sureText(this.proposal.confidence);
    },
    least() {
      const least = leastSure(this.proposal);
      return least && { text: least.text, words: sureText(least.sure) };
    },
  },
};

/**
 * The positions that led there, in the trade's words with plain ones beside, and what happened in between.
 * @type {import("../vendor/vue.js").Component}
 */
export const PathThere = {
  name: "PathThere",
  props: { proposal: { type: Object, required: true }, names: { type: Object, required: true } },
  emits: ["seek"],
  template: `
    <div v-if="rows.length" class="path"><h2>How it came</h2>
      <ol><li v-for="(row, i) in rows" :key="i">
        <button v-if="row.start_s !== null" type="button" class="quiet num" @click="$emit('seek', row.start_s)">{{ text(row.start_s) }}</button>
        <span><b>{{ row.words }}</b> <span v-if="row.plain" class="trade">{{ row.plain }}</span><span
        v-if="row.length" class="num soft">, {{ row.length }}</span> <span class="sure">{{ row.sure }}</span></span></li></ol></div>`,
  computed: {
    rows() {
      const steps = this.proposal.path.map((step) => ({
        start_s: step.start_s, words: step.words, plain: step.position && POSITIONS[step.position].plain,
        length: step.start_s === null ? "" : `${(step.end_s - step.start_s).toFixed(1)} s`,
        sure: step.confidence === null ? "" : sureText(step.confidence),
      }));
      const events = this.proposal.on_the_way.map((event) => ({
        start_s: event.time_s, plain: "", length: "",
        words: EVENTS[event.event].text + (event.athlete ? `, ${this.names[event.athlete]}` : ""),
        sure: event.by_person ? "marked by a person" : sureText(event.confidence),
      }));
      return [...steps, ...events].sort((a, b) => (a.start_s ?? 0) - (b.start_s ?? 0));
    },
  },
  methods: { text: clockText },
};

/**
 * Every published criterion, what was seen and how sure; a person can say it was otherwise.
 * @type {import("../vendor/vue.js").Component}
 */
export const CriterionList = {
  name: "CriterionList",
  props: {
    proposal: { type: Object, required: true },
    busy: { type: Boolean, default: false },
    locked: { type: Boolean, default: false },
    brief: { type: Boolean, default: false },
  },
  emits: ["check", "closer"],
  template: `
    <div v-if="rows.length || proposal.rule_text">
      <h2>What the rule asks<template v-if="proposal.clause"> (rule {{ proposal.clause }})</template></h2>
      <p v-if="proposal.rule_text" class="asks">{{ proposal.rule_text }}</p>
      <ul class="criteria">
        <li v-for="(row, i) in rows" :key="i" :class="['met-' + row.state, {decides: row.decides}]">
          <span class="sign" aria-hidden="true">{{ row.sign }}</span>
          <span><b>{{ row.title }}</b> <span class="met">{{ row.word }}<template v-if="row.decides">: this one decides</template></span>
            <span class="seen">{{ row.seen }}</span>
            <span class="sure">{{ row.beside }}</span>
            <span v-if="row.part_of" class="answers"><button type="button" class="quiet" @click="$emit('closer', {time_s: proposal.look_s, part: row.part, athlete: row.part_of})">Look at {{ parts[row.part] }}</button></span>
            <span v-if="row.check && proposal.hold && !locked" class="answers">
              <button v-if="row.state !== 'yes'" type="button" class="quiet" :disabled="busy" @click="$emit('check', row.check, row.if_met)">I saw that it was met</button>
              <button v-if="row.state !== 'no'" type="button" class="quiet" :disabled="busy" @click="$emit('check', row.check, row.if_not)">I saw that it was not</button></span></span>
        </li>
      </ul>
      <p v-if="proposal.sources" class="fine">{{ proposal.sources }}</p></div>`,
  computed: {
    parts() {
      return PARTS;
    },
    rows() {
      const first = (criterion) => (criterion.decides ? 0 : 1);
      return [...this.proposal.criteria].sort((a, b) => first(a) - first(b)).map((criterion) => {
        const state = criterion.met === null ? "unknown" : criterion.met ? "yes" : "no";
        return {
          ...criterion, state, seen: this.brief ? criterion.seen : seenText(criterion),
          title: capital(spaced(criterion.name)), sign: SIGNS[state], word: SIGN_WORDS[state],
          beside: [state !== "unknown" && sureText(criterion.probability), criterion.clause && `rule ${criterion.clause}`]
            .filter(Boolean).join(" \u00b7 "),
        };
      });
    },
  },
};

/** Keys that mean in the window what they mean on the page. */
const KEYS_HERE = new Set(["confirm", "confirm_on", "change", "dismiss", "reopen", "undo", "redo", "above", "below", "next", "previous", "evidence"]);

/**
 * Everything of one proposal side by side, for a crew around one screen; it can be decided here.
 * @type {import("../vendor/vue.js").Component}
 */
export const EvidenceWindow = {
  name: "EvidenceWindow",
  components: { CriterionList, HowSure, PathThere, StillRow, Window },
  props: {
    proposal: { type: Object, required: true },
    heading: { type: String, required: true },
    state: { type: String, required: true },
    about: { type: Object, required: true },
    names: { type: Object, required: true },
    busy: { type: Boolean, default: false },
    locked: { type: Boolean, default: false },
  },
  inject: { room: { default: null } }, // the page, whose keys hold here too
  emits: ["close", "seek", "check", "act", "closer"],
  template: `
    <Window :heading="heading" wide @close="$emit('close')" @keydown="onKey">
      <div class="evidence">
        <p class="told">{{ proposal.summary.join(' ') }}</p>
        <div v-if="!locked" class="acts"><button v-for="act in answers" :key="act.id" type="button" :class="act.look" :disabled="busy" @click="$emit('act', act.id)">{{ act.text }} <kbd v-if="key(act.id)">{{ key(act.id) }}</kbd></button>
          <span class="soft">{{ state }}</span><span class="grow"></span>
          <button type="button" aria-label="Proposal above" @click="$emit('act', 'above')">Above <kbd v-if="key('above')">{{ key('above') }}</kbd></button>
          <button type="button" aria-label="Proposal below" @click="$emit('act', 'below')">Below <kbd v-if="key('below')">{{ key('below') }}</kbd></button></div>
        <StillRow at-once :key="proposal.id" :proposal="proposal" :about="about" @seek="$emit('seek', $event)" @closer="$emit('closer', $event)"></StillRow>
        <HowSure v-if="!proposal.added" :proposal="proposal"></HowSure>
        <p class="why"><span class="label">In mat terms</span>{{ proposal.why }}</p>
        <div class="evidence-sides">
          <PathThere :proposal="proposal" :names="names" @seek="$emit('seek', $event)"></PathThere>
          <CriterionList :proposal="proposal" :busy="busy" :locked="locked" @check="(check, value) => $emit('check', check, value)" @closer="$emit('closer', $event)"></CriterionList>
        </div>
      </div>
    </Window>`,
  computed: {
    answers() {
      return answersTo(this.proposal);
    },
  },
  methods: {
    key(id) {
      return this.room?.keyOf(id) ?? "";
    },
    onKey(event) {
      const id = event.altKey ? null : this.room?.keys.actionOf(keyName(event));
      if (!KEYS_HERE.has(id)) return;
      event.preventDefault();
      this.$emit("act", id);
    },
  },
};
