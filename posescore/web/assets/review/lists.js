// Events and positions as lists, for those who cannot use the strip. Made only while they are open: the page
// is drawn again with every frame of playing footage.

import { clockText } from "../common/clock.js";
import { EVENTS, POSITIONS, sureText } from "../common/words.js";
import { WORDS } from "../common/words_data.js";

/** @type {import("../vendor/vue.js").Component} */
export default {
  name: "MatchLists",
  props: {
    review: { type: Object, required: true },
    names: { type: Object, required: true },
    busy: { type: Boolean, default: false },
  },
  emits: ["seek", "remove"],
  template: `
    <div class="as-lists">
      <details class="as-list" @toggle="openEvents = $event.target.open"><summary>What happened, as a list</summary>
        <ul v-if="openEvents" class="events"><li v-for="event in eventRows" :key="event.id"><button type="button" class="quiet num" @click="$emit('seek', event.time_s)">{{ text(event.time_s) }}</button>
          <span>{{ event.text }}<template v-if="event.athlete">, {{ names[event.athlete] }}</template></span>
          <span class="trade">{{ event.by_person ? 'marked by a person' : event.sure }}</span>
          <button type="button" class="quiet" :disabled="busy" @click="$emit('remove', event.id)">Remove</button></li>
          <li v-if="!eventRows.length" class="trade">nothing yet</li></ul></details>
      <details class="as-list" @toggle="openHolds = $event.target.open"><summary>Positions as a list</summary>
        <table v-if="openHolds"><thead><tr><th scope="col">From</th><th scope="col">To</th><th scope="col">Position</th><th scope="col">On top or behind</th><th scope="col">How sure</th></tr></thead>
          <tbody><tr v-for="hold in holdRows" :key="hold.id"><td><button type="button" class="quiet num" @click="$emit('seek', hold.start_s)">{{ text(hold.start_s) }}</button></td>
            <td class="num">{{ text(hold.end_s) }}</td><td>{{ hold.trade }} <span class="trade">{{ hold.plain }}</span></td><td>{{ hold.who }}</td><td>{{ hold.sure }}</td></tr></tbody></table></details>
    </div>`,
  data() {
    return { openEvents: false, openHolds: false };
  },
  computed: {
    holdRows() {
      return this.review.holds.map((hold) => ({
        ...hold, ...POSITIONS[hold.position], who: this.names[hold.upper] ?? WORDS.nobody, sure: sureText(hold.confidence),
      }));
    },
    eventRows() {
      return this.review.events.map((event) => ({
        ...event, text: EVENTS[event.event]?.text ?? event.event, sure: sureText(event.confidence),
      }));
    },
  },
  methods: { text: clockText },
};
