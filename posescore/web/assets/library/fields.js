// What a person says of a match: the two athletes, and the event with its division and rule set.

import { GI_COLOURS } from "./words.js";

/** @type {import("../vendor/vue.js").Component} */
export const AthleteFields = {
  name: "AthleteFields",
  props: { details: { type: Object, required: true }, choices: { type: Object, required: true }, label: { type: String, required: true } },
  template: `
    <div class="athletes">
      <fieldset v-for="(letter, i) in ['A', 'B']" :key="letter" class="athlete">
        <legend><b class="chip" :class="'chip-' + letter" aria-hidden="true">{{ letter }}</b> Athlete {{ letter }} <span class="sr">of {{ label }}</span></legend>
        <label class="field">Name <input type="text" v-model="who(i).name" maxlength="120" list="known-athletes" autocomplete="off"></label>
        <label class="field">Gi <input type="text" v-model="who(i).gi_colour" maxlength="40" list="gi-colours" autocomplete="off" placeholder="white"></label>
        <label class="field">Team <input type="text" v-model="who(i).team" maxlength="120" autocomplete="off"></label>
        <label class="field">Belt <select v-model="who(i).belt"><option value="">not given</option>
          <option v-if="who(i).belt && !belts.includes(who(i).belt)" :value="who(i).belt">{{ who(i).belt }}</option>
          <option v-for="belt in belts" :key="belt" :value="belt">{{ belt }}</option></select></label>
      </fieldset>
      <p class="hint gi-hint">The colours of the gis tell the program who is A and who is B.
        <button type="button" class="quiet" :aria-label="'Swap A and B of ' + label" @click="swap">Swap A and B</button></p>
      <datalist id="known-athletes"><option v-for="name in choices.athletes" :key="name" :value="name"></option></datalist>
      <datalist id="gi-colours"><option v-for="colour in colours" :key="colour" :value="colour"></option></datalist>
    </div>`,
  computed: {
    colours() {
      return GI_COLOURS;
    },
    belts() {
      return this.choices.belts;
    },
  },
  methods: {
    swap() {
      [this.details.athlete_a, this.details.athlete_b] = [this.details.athlete_b, this.details.athlete_a];
    },
    who(index) {
      return index ? this.details.athlete_b : this.details.athlete_a;
    },
  },
};

/** @type {import("../vendor/vue.js").Component} */
export const EventFields = {
  name: "EventFields",
  props: { details: { type: Object, required: true }, choices: { type: Object, required: true } },
  template: `
    <div class="event-fields">
      <label class="field wide-field">Event <input type="text" v-model="details.event" maxlength="200" list="known-events" autocomplete="off"></label>
      <datalist id="known-events"><option v-for="name in choices.events" :key="name" :value="name"></option></datalist>
      <label class="field">Day <input type="date" v-model="details.held_on"></label>
      <label class="field">Mat <input type="text" v-model="details.mat" maxlength="40" autocomplete="off"></label>
      <label class="field">Age class <select :value="details.division?.age ?? ''" @change="setAge($event.target.value)">
        <option value="">not given</option><option v-for="one in ages" :key="one.age" :value="one.age">{{ one.age }}</option></select></label>
      <label class="field">Belt of the division <select :value="details.division?.belt ?? ''" :disabled="!details.division" @change="setBelt($event.target.value)">
        <option value="">not given</option><option v-for="belt in belts" :key="belt" :value="belt">{{ belt }}</option></select></label>
      <label class="field wide-field">Rule set <select v-model="details.rules">
        <option v-if="!rules" :value="details.rules">{{ details.rules }}</option>
        <option v-for="one in choices.rules" :key="one.name" :value="one.name">{{ one.title }}</option></select></label>
      <p class="hint match-time" role="status">{{ matchTime }}</p>
    </div>`,
  computed: {
    rules() {
      return this.choices.rules.find((one) => one.name === this.details.rules) ?? null;
    },
    ages() {
      return (this.rules ?? this.choices.rules[0]).ages;
    },
    ageClass() {
      return this.ages.find((one) => one.age === this.details.division?.age) ?? null;
    },
    belts() {
      const own = Object.keys(this.ageClass?.minutes_by_belt ?? {});
      return own.length ? own : this.choices.belts;
    },
    matchTime() {
      if (!this.ageClass) return "The division sets the match time, by the published table.";
      const minutes = this.ageClass.minutes ?? this.ageClass.minutes_by_belt[this.details.division.belt];
      return minutes ? `Match time by the published table: ${minutes} minutes.` : "Here the belt sets the match time: choose it.";
    },
  },
  methods: {
    setAge(age) {
      const belt = this.details.division?.belt;
      this.details.division = age ? { age } : null;
      if (age && belt && this.belts.includes(belt)) this.setBelt(belt);
    },
    setBelt(belt) {
      this.details.division = belt ? { age: this.details.division.age, belt } : { age: this.details.division.age };
    },
  },
};
