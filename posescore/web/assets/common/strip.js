// The whole match as one strip: who is on top shows by height (A above, B below, even between), doubtful
// stretches are hatched, proposals stand as flags on the side of their athlete.

import { clockText, shortClockText } from "./clock.js";
import {
  DOUBTFUL_BELOW, EVENTS, FINDINGS, KINDS, POSITIONS, STATE_WORDS, shortWorth, stateOf, stateText, sureText, worth,
} from "./words.js";
import { WORDS } from "./words_data.js";

const TICKS_S = [1, 2, 5, 10, 15, 30, 60, 120, 300];
const MOST_TICKS = 10;
const FLAG_PX = 33;
const LETTER_PX = 6.2; // a letter of a hold's name, on average

/**
 * Everything on the strip that does not move with the footage: not touched while it plays.
 * @type {import("../vendor/vue.js").Component}
 */
const StripMarks = {
  name: "StripMarks",
  props: {
    review: { type: Object, required: true },
    endS: { type: Number, required: true },
    spanS: { type: Number, required: true },
    widthPx: { type: Number, required: true },
    selected: { type: String, default: null },
    names: { type: Object, required: true },
  },
  emits: ["select"],
  template: `
    <div v-for="stop in stopped" :key="'s' + stop.key" class="stopped" :style="stop.style" title="The match clock does not run here."></div>
    <div v-for="hold in marks" :key="hold.key" class="hold" :class="hold.classes" :style="hold.style" :title="hold.title">
      <span v-if="hold.wide">{{ hold.name }} <small v-if="hold.wider">{{ hold.percent }}</small></span>
    </div>
    <div v-for="finding in findings" :key="finding.key" class="finding" :style="finding.style" :title="finding.title"></div>
    <span v-for="event in events" :key="'e' + event.id" class="event" :style="event.style" :title="event.title"></span>
    <span v-for="flag in flags" :key="flag.id" class="flag" :class="flag.classes" :style="flag.style" :title="flag.title"
            @pointerdown.stop @click.stop="$emit('select', flag.id)">{{ flag.text }}</span>
    <span v-for="tick in ticks" :key="tick.s" class="tick" :style="{left: tick.left}">{{ tick.text }}</span>`,
  computed: {
    marks() {
      return this.review.holds.map((hold, i) => {
        const share = (hold.end_s - hold.start_s) / this.spanS;
        const doubtful = hold.confidence < DOUBTFUL_BELOW;
        return {
          key: i,
          classes: [`lane-${hold.upper ?? "even"}`, { doubtful }],
          style: { left: this.place(hold.start_s), width: this.place(hold.end_s - hold.start_s) },
          name: (doubtful ? "? " : "") + fitting(POSITIONS[hold.position].trade, share * this.widthPx - (doubtful ? 26 : 12)),
          percent: `${Math.min(99, Math.round(hold.confidence * 100))} %`,
          wide: share * this.widthPx > 14,
          wider: share * this.widthPx > 125,
          title: `${stateText(hold, this.names)}, ${clockText(hold.start_s)} to ${clockText(hold.end_s)}, ${sureText(hold.confidence)}`,
        };
      });
    },
    /** Where the match clock does not run: before the start, while it is stopped, after the end. */
    stopped() {
      const edges = [0, ...(this.review.match_clock?.running ?? [[0, this.endS]]).flat(), this.endS];
      const gaps = [];
      for (let i = 0; i + 1 < edges.length; i += 2) if (edges[i + 1] - edges[i] > 0.05) gaps.push([edges[i], edges[i + 1]]);
      return gaps.map(([from, to], key) => ({ key, style: { left: this.place(from), width: this.place(to - from) } }));
    },
    findings() {
      return this.review.findings.map((finding, i) => ({
        key: i,
        style: { left: this.place(finding.start_s), width: this.place(Math.max(0.2, finding.end_s - finding.start_s)) },
        title: `${FINDINGS[finding.kind] ?? finding.kind}: ${finding.message}`,
      }));
    },
    events() {
      return this.review.events.map((event) => ({
        id: event.id,
        style: { left: this.place(event.time_s) },
        title: `${clockText(event.time_s)}: ${EVENTS[event.event]?.text ?? event.event}` +
          (event.athlete ? `, ${this.names[event.athlete]}` : ""),
      }));
    },
    flags() {
      const least = { A: -Infinity, B: -Infinity }; // flags of one side stand beside each other
      return this.review.proposals.map((proposal) => {
        const award = { ...proposal, ...proposal.decided_award };
        const state = stateOf(proposal);
        const side = award.athlete === "B" ? "B" : "A";
        const at = Math.max(award.time_s, least[side]);
        least[side] = at + (FLAG_PX / this.widthPx) * this.spanS;
        return {
          id: proposal.id,
          text: shortWorth(award),
          classes: [`flag-${award.athlete ?? "none"}`, `is-${state}`, { selected: proposal.id === this.selected }],
          style: { left: `clamp(15px, ${this.place(at)}, calc(100% - 15px))` },
          title: `${clockText(award.time_s)}: ${KINDS[award.kind].plain} (${KINDS[award.kind].trade}), ` +
            `${worth(award)}, ${this.names[award.athlete] ?? WORDS.nobody}. ${STATE_WORDS[state]}.`,
        };
      });
    },
    ticks() {
      const every = TICKS_S.find((s) => this.spanS / s <= MOST_TICKS) ?? 600;
      const count = Math.floor(this.endS / every) + 1;
      return Array.from({ length: count }, (_, i) => ({
        s: i * every, left: this.place(i * every), text: shortClockText(i * every),
      }));
    },
  },
  methods: {
    place(seconds) {
      return `${(100 * seconds) / this.endS}%`;
    },
  },
};

/** The whole name, else its first word, as coaches call it across a mat, else nothing. */
function fitting(name, roomPx) {
  return [name, name.split(/[ -]/)[0]].find((text) => text.length * LETTER_PX <= roomPx) ?? "";
}

/** @type {import("../vendor/vue.js").Component} */
export default {
  name: "MatchStrip",
  components: { StripMarks },
  props: {
    review: { type: Object, required: true },
    endS: { type: Number, required: true },
    timeS: { type: Number, required: true },
    selected: { type: String, default: null },
    names: { type: Object, required: true },
    closeUp: { type: Boolean, default: false },
    label: { type: String, default: "The whole match" },
  },
  emits: ["seek", "select"],
  template: `
    <section class="strip" :aria-label="label">
      <div class="strip-gutter" aria-hidden="true">
        <span></span><span><b class="chip chip-A">A</b> on top</span><span>neither</span>
        <span><b class="chip chip-B">B</b> on top</span><span></span><span></span>
      </div>
      <div ref="scroller" class="strip-scroll" tabindex="-1">
        <div class="strip-inner" :style="{width: width}" role="slider" tabindex="0" :aria-label="'Place in the footage. ' + label"
          aria-valuemin="0" :aria-valuemax="endS.toFixed(2)" :aria-valuenow="timeS.toFixed(2)"
          :aria-valuetext="slow.text" @pointerdown="onPointer" @pointermove="onDrag">
          <strip-marks :review="review" :end-s="endS" :span-s="spanS" :width-px="widthPx" :selected="selected" :names="names" @select="$emit('select', $event)"></strip-marks>
          <div class="playhead" :style="{left: place(timeS)}"></div>
        </div>
      </div>
    </section>`,
  data() {
    return { widthPx: 850 };
  },
  mounted() {
    this.resizes = new ResizeObserver(([box]) => { this.widthPx = Math.max(200, box.contentRect.width); });
    this.resizes.observe(this.$refs.scroller);
  },
  beforeUnmount() {
    this.resizes.disconnect();
  },
  computed: {
    spanS() {
      return this.closeUp ? Math.min(40, this.endS) : this.endS;
    },
    width() {
      return `${(100 * this.endS) / this.spanS}%`;
    },
    // The words of the slider change once a second, not with every frame.
    slow() {
      const hold = this.review.holds.find((h) => h.start_s <= this.timeS && this.timeS < h.end_s);
      return { text: `${shortClockText(this.timeS)}, ${hold ? stateText(hold, this.names) : "scramble"}` };
    },
  },
  watch: {
    timeS() {
      this.follow();
    },
    closeUp() {
      this.$nextTick(() => this.follow(true));
    },
  },
  methods: {
    place(seconds) {
      return `${(100 * seconds) / this.endS}%`;
    },
    onPointer(event) {
      event.currentTarget.setPointerCapture(event.pointerId);
      this.seek(event);
    },
    onDrag(event) {
      if (event.buttons & 1) this.seek(event);
    },
    seek(event) {
      const box = event.currentTarget.getBoundingClientRect();
      const share = Math.min(1, Math.max(0, (event.clientX - box.left) / box.width));
      this.$emit("seek", share * this.endS);
    },
    /** Keep the playhead in view while the strip is wider than the window. */
    follow(centre = false) {
      const box = this.$refs.scroller;
      if (!box || box.scrollWidth <= box.clientWidth + 1) return;
      const x = (this.timeS / this.endS) * box.scrollWidth;
      const outside = x < box.scrollLeft + 24 || x > box.scrollLeft + box.clientWidth - 24;
      if (outside || centre) box.scrollLeft = x - box.clientWidth / 2;
    },
  },
};
