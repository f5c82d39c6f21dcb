// Small windows for corrections: name a position, mark an event.

import { clockText } from "posescore-room/clock.js";
import { Window } from "posescore-room/windows.js";
import { EVENTS, POSITIONS, WITHOUT_UPPER } from "posescore-room/words.js";

export const NameWindow = {
  name: "NameWindow",
  components: { Window },
  props: { target: { type: Object, required: true }, names: { type: Object, required: true } },
  emits: ["close", "save"],
  template: `
    <Window heading="Name the position" @close="$emit('close')">
      <form @submit.prevent="$emit('save', position, needsUpper ? upper : null)">
        <p>{{ target.hold ? 'From' : 'A new hold, from' }} {{ text(target.start_s) }} to {{ text(target.end_s) }}</p>
        <label class="field">Position <select @keydown.enter.prevent="$event.target.form.requestSubmit()" v-model="position" data-first>
          <option v-for="(words, id) in positions" :key="id" :value="id">{{ words.trade }}: {{ words.plain }}</option></select></label>
        <fieldset v-if="needsUpper"><legend>On top or behind</legend>
          <label v-for="athlete in ['A', 'B']" :key="athlete" class="choice"><input type="radio" name="upper" :value="athlete" v-model="upper">
            <b class="chip" :class="'chip-' + athlete">{{ athlete }}</b> {{ names[athlete] }}</label></fieldset>
        <div class="acts"><button type="submit" class="primary">Save <kbd>Enter</kbd></button></div>
      </form>
    </Window>`,
  data() {
    return { position: this.target.position, upper: this.target.upper ?? "A", positions: POSITIONS };
  },
  computed: {
    needsUpper() {
      return !WITHOUT_UPPER.includes(this.position);
    },
  },
  methods: { text: clockText },
};

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
          <label v-for="one in ['A', 'B']" :key="one" class="choice"><input type="radio" name="who" :value="one" v-model="athlete">
            <b class="chip" :class="'chip-' + one">{{ one }}</b> {{ names[one] }}</label></fieldset>
        <div class="acts"><button type="submit" class="primary">Mark <kbd>Enter</kbd></button></div>
      </form>
    </Window>`,
  data() {
    return { event: "penalty", athlete: "A", events: EVENTS };
  },
  methods: {
    text: clockText,
    save() {
      const athlete = this.events[this.event].who ? this.athlete : null;
      this.$emit("save", { kind: "add_event", event: this.event, time_s: this.timeS, athlete });
    },
  },
};
