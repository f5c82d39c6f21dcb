// Results of many matches from one table: choose a file, and see what became of every line.

import { ask } from "../common/server.js";
import { keptAuthor, somebody } from "../common/watching.js";
import { WORDS } from "../common/words_data.js";

/** @type {import("../vendor/vue.js").Component} */
export default {
  name: "ResultRoom",
  template: `
    <div class="room"><div class="shelf">
      <header class="shelf-head"><div><h1>{{ words.heading }}</h1><p><a href="/">{{ words.all_matches }}</a></p></div></header>
      <p>{{ words.how }}</p><p class="soft">{{ ways }}</p>
      <form class="results" @submit.prevent="enter">
        <label class="field">{{ words.choose }} <input type="file" accept=".csv,text/csv" required @change="file = $event.target.files[0]"></label>
        <div class="acts"><button type="submit" class="primary" :disabled="busy || !file">{{ words.enter }}</button></div></form>
      <p v-if="trouble" class="trouble" role="alert">{{ trouble }}</p>
      <p v-if="said" role="status">{{ said }}</p>
      <div v-if="lines" class="scroll" tabindex="0" role="region" :aria-label="words.outcome"><table class="differences">
        <thead><tr><th scope="col">{{ words.line }}</th><th scope="col">{{ words.match }}</th><th scope="col">{{ words.outcome }}</th></tr></thead>
        <tbody><tr v-for="one in lines" :key="one.line"><td class="num">{{ one.line }}</td>
          <td><a v-if="one.match_id" :href="'/match/' + one.match_id">{{ one.title }}</a><template v-else>{{ one.title }}</template></td>
          <td>{{ one.problem || (one.changed ? words.entered : words.known) }}</td></tr></tbody></table></div>
    </div></div>`,
  data() {
    return { file: null, lines: null, busy: false, trouble: "", said: "" };
  },
  computed: {
    words() {
      return WORDS.results_page;
    },
    ways() {
      return WORDS.results_page.ways.replace("{ways}", Object.keys(WORDS.won_by).join(", "));
    },
  },
  methods: {
    async enter() {
      this.busy = true;
      this.trouble = "";
      try {
        const text = await this.file.text();
        this.lines = await ask("/api/results", { text, name: this.file.name, author: keptAuthor() || somebody() });
        const done = this.lines.filter((one) => !one.problem).length;
        this.said = WORDS.results_page.said.replace("{count}", String(done)).replace("{all}", String(this.lines.length));
      } catch (error) {
        this.trouble = error.message;
      } finally {
        this.busy = false;
      }
    },
  },
};
