// The proposals with their reasons: what, who, when, every published criterion, and what a person said.

import { clockText } from "../common/clock.js";
import { CriterionList, HowSure, PathThere, StillRow } from "./evidence.js";
import { KINDS, STATE_WORDS, answersTo, capital, pays, shortWorth, stateOf, sureText, unlookedText, worth } from "../common/words.js";
import { WORDS } from "../common/words_data.js";

/** @type {import("../vendor/vue.js").Component} */
export default {
  name: "ProposalList",
  components: { CriterionList, HowSure, PathThere, StillRow },
  props: {
    review: { type: Object, required: true },
    listed: { type: Array, required: true }, // the proposals that are shown
    about: { type: Object, required: true }, // of the stills: url, opinion, skeletons, version
    selected: { type: String, default: null },
    names: { type: Object, required: true },
    busy: { type: Boolean, default: false },
    keyOf: { type: Function, required: true },
  },
  emits: ["select", "act", "seek", "still", "check", "closer"],
  template: `
    <ol class="proposals" aria-label="Proposals, in the order of the match">
      <li v-for="item in items" :key="item.id" :id="'proposal-' + item.id" class="proposal" :class="item.classes">
        <button type="button" class="proposal-head" :aria-expanded="item.id === selected" @click="$emit('select', item.id)">
          <span class="worth" :class="'worth-' + item.state">{{ item.worthShort }}</span>
          <span class="proposal-what">
            <strong>{{ item.words.plain }}</strong> <span class="trade">{{ item.words.trade }}</span>
            <span class="proposal-who">
              <b v-if="item.award.athlete" class="chip" :class="'chip-' + item.award.athlete">{{ item.award.athlete }}</b>
              {{ names[item.award.athlete] ?? 'Nobody' }} <time class="num">{{ text(item.award.time_s) }}</time>
            </span>
          </span>
          <span class="state" :class="'state-' + item.state">{{ item.stateWords }}</span>
        </button>
        <div v-if="item.id === selected" class="proposal-body">
          <p class="told">{{ item.summary.join(' ') }}</p>
          <p v-if="item.said" class="said">{{ item.said }}</p>
          <p v-if="item.note" class="said">{{ item.note }}</p>
          <p v-if="item.behind" class="problem">{{ item.behind }}</p>
          <div class="acts">
            <button v-for="act in answers(item)" :key="act.id" type="button" :class="act.look" :disabled="busy || !!review.read_only"
              @click="$emit('act', act.id)">{{ act.text }} <kbd v-if="keyOf(act.id)">{{ keyOf(act.id) }}</kbd></button>
          </div>
          <how-sure v-if="!item.added" :proposal="item"></how-sure>
          <still-row :proposal="item" :about="about" :key-of="keyOf" @seek="$emit('still', $event)" @closer="$emit('closer', $event)"></still-row>
          <p class="facts">
            <button type="button" class="quiet" @click="$emit('act', 'evidence')">Side by side <kbd v-if="keyOf('evidence')">{{ keyOf('evidence') }}</kbd></button>
            <a :href="sheet(item)" target="_blank" rel="noopener">{{ sheetWords }}</a>
            <button v-if="!item.added" type="button" class="quiet" @click="$emit('seek', item.start_s)">Play from {{ text(item.start_s) }}</button>
          </p>
          <p class="why"><span class="label">In mat terms</span>{{ item.why }}</p>
          <path-there :proposal="item" :names="names" @seek="$emit('still', $event)"></path-there>
          <criterion-list brief :proposal="item" :busy="busy" :locked="!!review.read_only" @check="(check, value) => $emit('check', check, value)" @closer="$emit('closer', $event)"></criterion-list>
        </div>
      </li>
      <li v-if="!items.length" class="empty">{{ review.proposals.length ? 'Nothing of this kind.' : 'No points were proposed. Add what you saw yourself.' }}</li>
    </ol>`,
  computed: {
    sheetWords() {
      return WORDS.call.open;
    },
    items() {
      return this.listed.map((proposal) => this.item(proposal));
    },
  },
  watch: {
    selected(id) {
      this.$nextTick(() => document.getElementById(`proposal-${id}`)?.scrollIntoView({ block: "nearest" }));
    },
  },
  methods: {
    text: clockText,
    sheet(proposal) {
      const { match, opinion } = this.review;
      return `/match/${match.id}/call?${new URLSearchParams({ line: proposal.id, ...(opinion ? { one: opinion } : {}) })}`;
    },
    item(proposal) {
      const award = { ...proposal, ...proposal.decided_award };
      const state = stateOf(proposal);
      const wouldBe = proposal.would_be ? KINDS[proposal.would_be] : null;
      const words = wouldBe && award.kind === proposal.kind
        ? { plain: `${capital(wouldBe.trade)}, ${award.kind === "none" ? "no points" : KINDS[award.kind].trade}`, trade: KINDS[award.kind].plain.toLowerCase() }
        : KINDS[award.kind];
      return {
        ...proposal, award, state, words,
        behind: this.behind(proposal),
        classes: [`is-${state}`, { "is-behind": proposal.behind_end, selected: proposal.id === this.selected, pays: pays(award) }],
        stateWords: this.stateWords(proposal, state),
        worthShort: shortWorth(award),
        said: this.said(proposal, award),
      };
    },
    stateWords(proposal, state) {
      if (proposal.behind_end) return `${STATE_WORDS[state]}. ${WORDS.ended.behind}`;
      if (state !== "undecided") return STATE_WORDS[state];
      return [`${STATE_WORDS[state]}: ${sureText(proposal.confidence)}`, unlookedText(proposal)].filter(Boolean).join("; ");
    },
    behind(proposal) {
      const { end } = this.review.ending;
      return proposal.behind_end && end ? WORDS.ended.behind_line.replace("{time}", clockText(end.time_s)) : "";
    },
    said(proposal, award) {
      const decision = proposal.decision;
      if (!decision) return "";
      const who = decision.by ? `${decision.by}: ` : "";
      const reason = decision.reason ? ` \u201c${decision.reason}\u201d` : "";
      if (decision.verdict === "changed") {
        const was = `${worth(proposal)} for ${this.names[proposal.athlete] ?? WORDS.nobody}, ${KINDS[proposal.kind].trade}, ${clockText(proposal.time_s)}`;
        return `${who}changed to ${worth(award)} for ${this.names[award.athlete] ?? WORDS.nobody}; the proposal was ${was}.${reason}`;
      }
      return `${who}${decision.verdict}.${reason}`;
    },
    answers: answersTo,
  },
};
