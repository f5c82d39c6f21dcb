// Points, advantages and penalties of both athletes. What a person confirmed stands large and solid; what
// is only proposed stands small, dashed and says so.

const LEADS = [
  { what: "points", sign: 1, said: "more points" }, { what: "advantages", sign: 1, said: "more advantages" },
  { what: "penalties", sign: -1, said: "fewer penalties" },
];
// Ways to end that no count of points shows.
const ENDINGS = ["submission", "disqualification"];

/** @type {import("../vendor/vue.js").Component} */
export default {
  name: "ScoreBoard",
  props: {
    review: { type: Object, required: true },
    names: { type: Object, required: true },
    matchClock: { type: String, default: "" },
    byNow: { type: String, default: "" }, // confirmed points at the instant that is shown
  },
  template: `
    <section class="board" aria-label="Score">
      <div v-for="row in rows" :key="row.athlete" class="board-row" :class="'board-' + row.athlete">
        <b class="chip" :class="'chip-' + row.athlete">{{ row.athlete }}</b>
        <span class="board-name"><a v-if="row.across" :href="row.across" title="Across matches">{{ names[row.athlete] }}</a><template v-else>{{ names[row.athlete] }}</template><small v-if="row.gi">{{ row.gi }}</small></span>
        <span class="board-points num" :data-points="row.confirmed.points">{{ row.confirmed.points }}<span class="sr"> points confirmed</span></span>
        <span class="board-small">adv. <b class="num">{{ row.confirmed.advantages }}</b>
          pen. <b class="num">{{ row.confirmed.penalties }}</b></span>
        <span class="board-proposed">as proposed: <b class="num">{{ row.proposed.points }}</b>
          <template v-if="row.proposed.advantages"> + {{ row.proposed.advantages }} adv.</template>
          <template v-if="row.proposed.penalties"> + {{ row.proposed.penalties }} pen.</template></span>
      </div>
      <p class="board-line"><span>{{ ahead }}</span></p>
      <p class="board-line now-line num"><span>Match clock {{ matchClock }}</span><span v-if="byNow">By now, confirmed: <b>{{ byNow }}</b></span></p>
      <p v-if="review.match_clock?.note" class="board-line"><span><span aria-hidden="true">\u26a0 </span>{{ review.match_clock.note }}</span></p>
    </section>`,
  computed: {
    rows() {
      return ["A", "B"].map((athlete) => ({
        athlete,
        gi: this.review.match.athletes[athlete].gi_colour ? `${this.review.match.athletes[athlete].gi_colour} gi` : "",
        across: this.review.match.athletes[athlete].name && `/athletes?${new URLSearchParams({ name: this.review.match.athletes[athlete].name })}`,
        confirmed: this.review.score.confirmed[athlete],
        proposed: this.review.score.proposed[athlete],
      }));
    },
    allDecided() {
      return this.review.proposals.length > 0 && this.review.proposals.every((proposal) => proposal.decision);
    },
    ahead() {
      const confirmed = this.review.score.confirmed;
      const result = this.review.result;
      if (result && ENDINGS.includes(result.by)) return `Confirmed: ${result.why}`;
      if (result && this.allDecided) return `If it ends so: ${result.why}`;
      for (const { what, sign, said } of LEADS) {
        const lead = sign * (confirmed.A[what] - confirmed.B[what]);
        if (lead) return `Confirmed: ${this.names[lead > 0 ? "A" : "B"]} ahead: ${Math.abs(lead)} ${said}.`;
      }
      return this.review.undo ? "Confirmed: level." : "Nothing is confirmed yet.";
    },
  },
};
