// Small windows for corrections: name a position, mark an event.

import { clockText } from "../common/clock.js";
import { Window } from "../common/windows.js";
import { EVENTS, POSITIONS, WITHOUT_UPPER } from "../common/words.js";

/** Keys of the positions, in the order of their list: one press names the hold and goes. */
const POSITION_KEYS = "1234567890ts";

/** @type {import("../vendor/vue.js").Component} */
export const NameWindow = {
  name: "NameWindow",
  components: { Window },
  props: { target: { type: Object, required: true }, names: { type: Object, required: true } },
  emits: ["close", "save"],
  template: `
    <Window heading="Name the position" @close="$emit('close')">
      <form @submit.prevent="save" @keydown="onKey">
        <p>{{ target.hold ? 'From' : 'A new hold, from' }} {{ text(target.start_s) }} to {{ text(target.end_s) }}</p>
        <fieldset><legend>On top or behind (in guard: who faces the legs)</legend>
          <label v-for="athlete in ['A', 'B']" :key="athlete" class="choice"><input type="radio" name="upper" :value="athlete" v-model="upper" :disabled="!needsUpper">
            <b class="chip" :class="'chip-' + athlete">{{ athlete }}</b> {{ names[athlete] }} <kbd>{{ athlete }}</kbd></label></fieldset>
        <fieldset class="positions"><legend>Position: its key saves at once</legend>
          <label v-for="(one, i) in positions" :key="one.id" class="choice"><input type="radio" name="position" :value="one.id" v-model="position"
            :data-first="one.id === target.position ? '' : null"><kbd>{{ key(i) }}</kbd> <span>{{ one.trade }} <span class="trade">{{ one.plain }}</span></span></label></fieldset>
        <div class="acts"><button type="submit" class="primary">Save <kbd>Enter</kbd></button></div>
      </form>
    </Window>`,
  data() {
    const positions = Object.entries(POSITIONS).map(([id, words]) => ({ id, ...words }));
    return { position: this.target.position, upper: this.target.upper ?? "A", positions };
  },
  computed: {
    needsUpper() {
      return !WITHOUT_UPPER.includes(this.position);
    },
  },
  methods: {
    text: clockText,
    key(i) {
      return POSITION_KEYS[i].toUpperCase();
    },
    save() {
      this.$emit("save", this.position, this.needsUpper ? this.upper : null);
    },
    onKey(event) {
      if (event.ctrlKey || event.metaKey || event.altKey) return;
      const key = event.key.toLowerCase();
      if (key === "a" || key === "b") this.upper = key.toUpperCase();
      const named = this.positions[key.length === 1 ? POSITION_KEYS.indexOf(key) : -1];
      if (!named) return;
      event.preventDefault();
      this.position = named.id;
      this.save();
    },
  },
};

/** @type {import("../vendor/vue.js").Component} */
export const EventWindow = {
  name: "EventWindow",
  components: { Window },
  props: { timeS: { type: Number, required: true }, names: { type: Object, required: true } },
  emits: ["close", "save"],
  template: `
    <Window heading="Mark what happened" @close="$emit('close')">
      <form @submit.prevent="save">
        <p>At {{ text(timeS) }}</p>
        <label class="field">What <select @keydown.enter.prevent="$event.target.form.requestSubmit()" v-model="event" data-first>
          <option v-for="(words, id) in events" :key="id" :value="id">{{ words.text }}</option></select></label>
        <fieldset v-if="events[event].who"><legend>{{ events[event].who }}</legend>
          <label v-for="one in ['A', 'B']" :key="one" class="choice"><input type="radio" name="who" :value="one" v-model="athlete" required>
            <b class="chip" :class="'chip-' + one">{{ one }}</b> {{ names[one] }}</label></fieldset>
        <div class="acts"><button type="submit" class="primary">Mark <kbd>Enter</kbd></button></div>
      </form>
    </Window>`,
  data() {
    return { event: "penalty", athlete: "", events: EVENTS };
  },
  methods: {
    text: clockText,
    save() {
      const athlete = this.events[this.event].who ? this.athlete : null;
      this.$emit("save", { kind: "add_event", event: this.event, time_s: this.timeS, athlete });
    },
  },
};
