// The small windows of the review: change or add an award, dismiss with a reason, go to a time, the keys.

import { clockText, parseTime } from "../common/clock.js";
import { keyName, shown } from "../common/keys.js";
import { Window } from "../common/windows.js";
import { WORDS } from "../common/words_data.js";
import { KINDS, dismissReasons } from "../common/words.js";

/**
 * Change a proposal, or add an award that was missed.
 * @type {import("../vendor/vue.js").Component}
 */
export const AwardWindow = {
  name: "AwardWindow",
  components: { Window },
  props: {
    start: { type: Object, required: true }, // athlete, kind, points, advantage, time_s
    adding: { type: Boolean, default: false },
    names: { type: Object, required: true },
    values: { type: Object, required: true },
    clock: { type: Object, required: true },
    playheadS: { type: Number, required: true },
    endS: { type: Number, default: null }, // where the match ended
  },
  emits: ["close", "save"],
  template: `
    <Window :heading="adding ? 'Add what was missed' : 'Change what stands'" @close="$emit('close')">
      <form class="award" @submit.prevent="save">
        <fieldset><legend>Athlete</legend>
          <label v-for="(athlete, i) in ['A', 'B']" :key="athlete" class="choice"><input type="radio" name="athlete" :value="athlete"
            v-model="athleteNow" :data-first="i === 0 ? '' : null"><b class="chip" :class="'chip-' + athlete">{{ athlete }}</b> {{ names[athlete] }}</label></fieldset>
        <label class="field">What happened
          <select @keydown.enter.prevent="$event.target.form.requestSubmit()" v-model="kind" @change="onKind"><option v-for="(words, id) in kinds" :key="id" :value="id">{{ words.plain }} ({{ words.trade }})</option></select></label>
        <div class="pair">
          <label class="field">Points <input type="number" min="0" max="99" step="1" required v-model.number="points"></label>
          <label class="field">Advantage <input type="number" min="0" max="1" step="1" required v-model.number="advantage"></label>
        </div>
        <label class="field">When the count was over
          <span class="with-button"><input type="text" inputmode="decimal" v-model="time" :aria-invalid="!!problem" aria-describedby="award-problem">
            <button type="button" @click="time = text(playheadS)">At this frame, {{ text(playheadS) }}</button></span></label>
        <p v-if="behind" class="problem" role="status">{{ behind }}</p>
        <label class="field">Why <span class="hint">(for those who read the log)</span> <input type="text" v-model="reason" maxlength="300"></label>
        <p id="award-problem" class="problem" role="alert">{{ problem }}</p>
        <div class="acts"><button type="submit" class="primary">{{ adding ? 'Add' : 'Save the change' }} <kbd>Enter</kbd></button></div>
      </form>
    </Window>`,
  data() {
    return {
      athleteNow: this.start.athlete ?? "A", kind: this.start.kind, points: this.start.points,
      advantage: this.start.advantage, time: clockText(this.start.time_s), reason: "", problem: "",
    };
  },
  computed: {
    kinds() {
      return KINDS;
    },
    /** What is written behind the end of the match counts nothing: said before it is saved. */
    behind() {
      const written = parseTime(this.time, this.clock);
      if (this.endS === null || written === null || written <= this.endS) return "";
      return WORDS.ended.will_be_behind.replace("{time}", clockText(this.endS));
    },
  },
  methods: {
    text: clockText,
    onKind() {
      this.points = this.values[this.kind] ?? 0;
      this.advantage = this.kind === "near" ? 1 : 0;
    },
    save() {
      const written = clockText(this.start.time_s) === this.time ? this.start.time_s : parseTime(this.time, this.clock);
      if (written === null || written > this.clock.end) {
        this.problem = `Write the time as minutes:seconds, up to ${clockText(this.clock.end)}, or a frame as #250.`;
        return;
      }
      this.$emit("save", {
        athlete: this.athleteNow, award: this.kind, points: this.points, advantage: this.advantage,
        time_s: written, reason: this.reason.trim(),
      });
    },
  },
};

/** @type {import("../vendor/vue.js").Component} */
export const DismissWindow = {
  name: "DismissWindow",
  components: { Window },
  props: { what: { type: String, required: true }, line: { type: Object, required: true } },
  emits: ["close", "save"],
  template: `
    <Window heading="Why does it not stand?" @close="$emit('close')">
      <form class="dismiss" @submit.prevent="save" @keydown="onKey">
        <p>{{ what }}</p>
        <fieldset><legend class="sr">Reason</legend>
          <label v-for="(text, i) in reasons" :key="i" class="choice"><input type="radio" name="reason" :value="text" v-model="chosen"
            :data-first="i === 0 ? '' : null"><kbd>{{ i + 1 }}</kbd> {{ text }}</label></fieldset>
        <label class="field">In your own words <input type="text" v-model="own" maxlength="300"></label>
        <div class="acts"><button type="submit" class="primary">Dismiss <kbd>Enter</kbd></button></div>
      </form>
    </Window>`,
  data() {
    const reasons = dismissReasons(this.line);
    return { reasons, chosen: reasons[0], own: "" };
  },
  methods: {
    onKey(event) {
      const typing = event.target instanceof HTMLInputElement && event.target.type === "text";
      const number = Number(event.key);
      if (!typing && number >= 1 && number <= this.reasons.length) {
        event.preventDefault();
        this.$emit("save", this.reasons[number - 1]);
      }
    },
    save() {
      const own = this.own.trim();
      this.$emit("save", own || this.chosen);
    },
  },
};

/** @type {import("../vendor/vue.js").Component} */
export const GoWindow = {
  name: "GoWindow",
  components: { Window },
  props: { clock: { type: Object, required: true } },
  emits: ["close", "go"],
  template: `
    <Window heading="Go to" @close="$emit('close')">
      <form @submit.prevent="go">
        <label class="field">Time as minutes:seconds, or a frame as #250
          <input type="text" v-model="where" data-first autocomplete="off" :aria-invalid="!!problem" aria-describedby="go-problem"></label>
        <p id="go-problem" class="problem" role="alert">{{ problem }}</p>
        <div class="acts"><button type="submit" class="primary">Go <kbd>Enter</kbd></button></div>
      </form>
    </Window>`,
  data() {
    return { where: "", problem: "" };
  },
  methods: {
    go() {
      const seconds = parseTime(this.where, this.clock);
      if (seconds === null) this.problem = "Write 1:23.4 for a time or #250 for a frame.";
      else this.$emit("go", seconds);
    },
  },
};

/** @type {import("../vendor/vue.js").Component} */
export const KeysWindow = {
  name: "KeysWindow",
  components: { Window },
  props: { keys: { type: Object, required: true } },
  emits: ["close", "changed"],
  template: `
    <Window heading="Keys" wide @close="$emit('close')" @keydown="hide">
      <p>Keys are silent while you type. Press a key's button to choose another one.</p>
      <div class="acts"><label class="choice"><input type="checkbox" :checked="on" data-first @change="turn"> Single keys work on this page</label>
        <button type="button" @click="reset">Usual keys again</button></div>
      <div class="key-groups">
        <section v-for="group in groups" :key="group.name"><h3>{{ group.name }}</h3>
          <ul><li v-for="action in group.actions" :key="action.id"><span>{{ action.text }}</span>
            <button type="button" class="key" :aria-label="'Key for ' + action.text + ': ' + action.shown" @click="choosing = action.id"
              @blur="choosing = null" @keydown="onKey(action.id, $event)">
              <template v-if="choosing === action.id">press a key</template>
              <kbd v-else v-for="key in action.keys" :key="key">{{ key }}</kbd></button></li></ul></section>
      </div>
      <p class="problem" role="alert">{{ problem }}</p>
    </Window>`,
  data() {
    return { choosing: null, problem: "", version: 0, on: this.keys.on };
  },
  computed: {
    groups() {
      void this.version;
      return this.keys.groups.map((name) => ({
        name,
        actions: this.keys.actions.filter((action) => action.group === name).map((action) => {
          const keys = this.keys.keysOf(action.id).map(shown);
          return { ...action, keys, shown: keys.join(" or ") };
        }),
      }));
    },
  },
  methods: {
    hide(event) {
      if (event.defaultPrevented || this.choosing || this.keys.actionOf(keyName(event)) !== "keys") return;
      event.preventDefault();
      this.$emit("close");
    },
    onKey(id, event) {
      if (this.choosing !== id || ["Shift", "Control", "Alt", "Meta", "Tab", "Escape"].includes(event.key)) return;
      event.preventDefault();
      this.problem = this.keys.choose(id, keyName(event));
      this.choosing = null;
      this.changed();
    },
    turn(event) {
      this.on = event.target.checked;
      this.keys.turn(this.on);
      this.changed();
    },
    reset() {
      this.keys.reset();
      this.problem = "";
      this.changed();
    },
    changed() {
      this.version += 1;
      this.$emit("changed");
    },
  },
};
