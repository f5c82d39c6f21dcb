// The proposals with their reasons: what, who, when, every published criterion, and what a person said.

import { clockText } from "posescore-room/clock.js";
import { KINDS, POSITIONS, STATE_WORDS, shortWorth, spaced, stateOf, sureText, worth } from "posescore-room/words.js";

const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);
const SIGNS = { yes: "\u2713", no: "\u2717", unknown: "?" };
const SIGN_WORDS = { yes: "Seen", no: "Not seen", unknown: "Cannot tell" };

export default {
  name: "ProposalList",
  props: {
    review: { type: Object, required: true },
    selected: { type: String, default: null },
    names: { type: Object, required: true },
    busy: { type: Boolean, default: false },
    keyOf: { type: Function, required: true },
  },
  emits: ["select", "act", "seek"],
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
          <p class="why">{{ item.why }}</p>
          <p v-if="item.said" class="said">{{ item.said }}</p>
          <p v-if="item.note" class="said">{{ item.note }}</p>
          <p class="facts">
            <span v-if="!item.added">How sure: <b>{{ item.sure }}</b></span>
            <span v-if="item.clause">Rule: <b>{{ item.clause }}</b></span>
            <button v-if="!item.added" type="button" class="quiet" @click="$emit('seek', item.start_s)">
              Show from {{ text(item.start_s) }}</button>
          </p>
          <div class="acts">
            <button v-for="act in actsFor(item)" :key="act.id" type="button" :class="act.look" :disabled="busy"
              @click="$emit('act', act.id)">{{ act.text }} <kbd v-if="keyOf(act.id)">{{ keyOf(act.id) }}</kbd></button>
          </div>
          <p v-if="item.path.length" class="path"><span class="label">How it came</span>
            <template v-for="(step, i) in item.path" :key="i"><span aria-hidden="true" v-if="i"> \u2192 </span>{{ step }}</template></p>
          <template v-if="item.criteria.length">
            <h2>What the rule asks</h2>
            <ul class="criteria">
              <li v-for="(criterion, i) in item.criteria" :key="i" :class="'met-' + criterion.met">
                <span class="sign" aria-hidden="true">{{ criterion.sign }}</span>
                <span><b>{{ criterion.name }}</b> <span class="met">{{ criterion.word }}</span>
                  <span class="seen">{{ criterion.seen }}</span>
                  <span class="sure">{{ criterion.sure }}<template v-if="criterion.clause"> \u00b7 rule {{ criterion.clause }}</template></span></span>
              </li>
            </ul>
          </template>
        </div>
      </li>
      <li v-if="!items.length" class="empty">No points were proposed. Add what you saw yourself.</li>
    </ol>`,
  computed: {
    items() {
      return this.review.proposals.map((proposal) => this.item(proposal));
    },
  },
  watch: {
    selected(id) {
      this.$nextTick(() => document.getElementById(`proposal-${id}`)?.scrollIntoView({ block: "nearest" }));
    },
  },
  methods: {
    text: clockText,
    item(proposal) {
      const award = { ...proposal, ...proposal.stands };
      const state = stateOf(proposal);
      const wouldBe = proposal.would_be ? KINDS[proposal.would_be] : null;
      const words = wouldBe && award.kind === proposal.kind
        ? { plain: KINDS[award.kind].plain, trade: `${KINDS[award.kind].trade}, ${wouldBe.trade}` }
        : KINDS[award.kind];
      return {
        ...proposal, award, state, words,
        classes: [`is-${state}`, { selected: proposal.id === this.selected, pays: award.points || award.advantage }],
        stateWords: STATE_WORDS[state],
        worthShort: shortWorth(award),
        sure: sureText(proposal.confidence),
        path: proposal.path.map((step) => POSITIONS[step]?.trade ?? spaced(step)),
        said: this.said(proposal, award),
        criteria: proposal.criteria.map((criterion) => this.criterion(criterion)),
      };
    },
    criterion(criterion) {
      const met = criterion.met === null ? "unknown" : criterion.met ? "yes" : "no";
      return {
        ...criterion, met, name: capital(spaced(criterion.name)), sign: SIGNS[met], word: SIGN_WORDS[met],
        sure: met === "unknown" ? "" : sureText(criterion.probability),
      };
    },
    said(proposal, award) {
      const decision = proposal.decision;
      if (!decision) return "";
      const who = decision.by ? `${decision.by}: ` : "";
      const reason = decision.reason ? ` \u201c${decision.reason}\u201d` : "";
      if (decision.verdict === "changed") {
        const was = `${worth(proposal)} for ${this.names[proposal.athlete] ?? "nobody"}, ${KINDS[proposal.kind].trade}, ${clockText(proposal.time_s)}`;
        return `${who}changed to ${worth(award)} for ${this.names[award.athlete] ?? "nobody"}; the proposal was ${was}.${reason}`;
      }
      return `${who}${decision.verdict}.${reason}`;
    },
    actsFor(item) {
      const acts = [];
      if (item.live && item.state !== "confirmed") acts.push({ id: "confirm", text: "Confirm", look: "primary" });
      if (item.live || item.added) acts.push({ id: "change", text: "Change", look: "" });
      if (item.added) acts.push({ id: "dismiss", text: "Take back", look: "" });
      else if (item.live && item.state !== "dismissed") acts.push({ id: "dismiss", text: "Dismiss", look: "" });
      if (item.state !== "undecided" && !item.added) acts.push({ id: "reopen", text: "Decide later", look: "quiet" });
      return acts;
    },
  },
};
