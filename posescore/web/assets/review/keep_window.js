// Keeping a moment of a match in sets, with a remark.

import { clockText } from "../common/clock.js";
import { ask } from "../common/server.js";
import { Window } from "../common/windows.js";

/** @type {import("../vendor/vue.js").Component} */
export const KeepWindow = {
  name: "KeepWindow",
  components: { Window },
  props: { start: { type: Object, required: true } }, // start_s, end_s
  emits: ["close", "save"],
  template: `
    <Window heading="Keep this moment" @close="$emit('close')">
      <form @submit.prevent="$emit('save', {...start, sets: names, remark: remark.trim()})">
        <p class="num">{{ text(start.start_s) }} to {{ text(start.end_s) }}</p>
        <label class="field">In which set <span class="hint">(several: with commas between)</span> <input type="text" v-model="sets" maxlength="300" list="known-sets" data-first autocomplete="off" required></label>
        <datalist id="known-sets"><option v-for="name in known" :key="name" :value="name"></option></datalist>
        <label class="field">Remark <input type="text" v-model="remark" maxlength="500"></label>
        <div class="acts"><button type="submit" class="primary" :disabled="!names.length">Keep <kbd>Enter</kbd></button> <a href="/sets">All sets</a></div>
      </form>
    </Window>`,
  data() {
    return { sets: "", remark: "", known: [] };
  },
  computed: {
    names() {
      return this.sets.split(",").map((name) => name.trim()).filter(Boolean);
    },
  },
  async created() {
    try {
      this.known = [...new Set((await ask("/api/moments")).flatMap((moment) => moment.sets))];
    } catch {
      this.known = []; // the list is a comfort, nothing more
    }
  },
  methods: { text: clockText },
};
