// Saving and sharing: the log at once; reports, clips, films and lessons once they are made.

import { ask } from "./server.js";
import { Window } from "./windows.js";

const POLL_MS = 400;
const SAVE_KEYS = "1234567890qwert"; // in the order of what can be saved
const ENDED = ["done", "failed", "cancelled"];

const MADE = {
  "report-html": { text: "Report as a page", more: "HTML, a picture for every award" },
  "report-pdf": { text: "Report to print", more: "PDF" },
  clips: { text: "A clip for every award", more: "MP4 films in a ZIP" },
  film: { text: "The whole match as a film", more: "MP4" },
  "set-film": { text: "A set as a film", more: "MP4" },
  lesson: { text: "Lesson in one file", more: "HTML with the clips inside, to pass on" },
};

/**
 * What the review page does for the window below; lives on when the window is closed.
 * @type {import("../vendor/vue.js").Component}
 */
export const saving = {
  async makeOutput(kind, options) {
    try {
      this.watch(await ask(`${this.url}/outputs`, { kind, opinion: this.opinion, ...options }));
    } catch (error) {
      this.trouble = error.message;
    }
  },
  async knownOutputs() {
    try {
      this.outputs = await ask(`${this.url}/outputs`);
    } catch {
      this.outputs = []; // the list is a comfort, nothing more
    }
  },
  /** Ask until it has ended, then let the browser save it. */
  async watch(output) {
    for (let made = output; ; made = await ask(`/api/outputs/${output.id}`)) {
      this.outputs = [...this.outputs.filter((other) => other.id !== made.id), made].sort((a, b) => a.id - b.id);
      if (made.state === "done") {
        download(made.file, made.name);
        this.say(`${MADE[made.kind].text}: ready, and saved by your browser.`);
      }
      if (made.state === "failed") this.say(made.message);
      if (ENDED.includes(made.state)) return;
      await new Promise((resolve) => { setTimeout(resolve, POLL_MS); });
    }
  },
  async stopOutput(id) {
    const made = await ask(`/api/outputs/${id}/stop`, {});
    this.outputs = this.outputs.map((other) => (other.id === id ? made : other));
  },
};

function download(address, name) {
  const link = document.createElement("a");
  Object.assign(link, { href: address, download: name });
  link.click();
}

/** @type {import("../vendor/vue.js").Component} */
export const SaveWindow = {
  name: "SaveWindow",
  components: { Window },
  props: {
    formats: { type: Array, required: true }, // name, text
    address: { type: Function, required: true }, // of a format
    outputs: { type: Array, required: true },
  },
  emits: ["close", "make", "stop"],
  template: `
    <Window heading="Save and share" wide @close="$emit('close')">
      <div class="save" @keydown="onKey">
        <section><h3>The score log, at once</h3>
          <ul class="save-list"><li v-for="(format, i) in formats" :key="format.name">
            <a class="button" :href="address(format.name)" download :data-first="i === 0 ? '' : null" :data-key="key(i)"><kbd>{{ key(i).toUpperCase() }}</kbd> {{ format.text }}</a></li></ul></section>
        <section><h3>With pictures, in a while</h3>
          <fieldset><legend class="sr">How they show people</legend>
            <label class="choice"><input type="checkbox" v-model="skeletons"> Skeletons drawn</label>
            <label class="choice"><input type="checkbox" v-model="hideFaces"> Faces and names hidden</label>
            <label class="choice"><input type="checkbox" v-model="proposed"> Also what nobody confirmed</label></fieldset>
          <p v-if="hideFaces" class="hint">Every face that is found; one that is turned away, blurred or very small may be missed, and so may a nickname: look through it before you share it.</p>
          <ul class="save-list"><li v-for="(one, i) in makeable" :key="one.kind">
            <button type="button" :data-key="key(formats.length + i)" @click="make(one.kind)"><kbd>{{ key(formats.length + i).toUpperCase() }}</kbd> {{ one.text }} <span class="trade">{{ one.more }}</span></button></li></ul>
          <p class="hint">You can go on meanwhile; your browser saves each when it is ready. Films of people need their consent, of minors their parents' too.</p></section>
        <section v-if="rows.length" aria-label="What is being made"><h3>Made here</h3>
          <ul class="made"><li v-for="row in rows" :key="row.id">
            <span>{{ row.text }}</span>
            <progress v-if="row.open" :value="row.progress" max="1" :aria-label="row.text"></progress>
            <span class="num">{{ row.words }}</span>
            <button v-if="row.open" type="button" class="quiet" @click="$emit('stop', row.id)">Stop</button>
            <a v-if="row.file" :href="row.file" :download="row.name">Save again</a></li></ul></section>
      </div>
    </Window>`,
  data() {
    return { skeletons: true, hideFaces: false, proposed: false };
  },
  computed: {
    makeable() {
      return Object.entries(MADE).filter(([kind]) => kind !== "set-film").map(([kind, words]) => ({ kind, ...words }));
    },
    rows() {
      return [...this.outputs].reverse().map((made) => ({
        ...made, text: MADE[made.kind].text, open: !ENDED.includes(made.state), words: words(made),
      }));
    },
  },
  methods: {
    key(i) {
      return SAVE_KEYS[i] ?? "";
    },
    make(kind) {
      this.$emit("make", kind, { skeletons: this.skeletons, hide_faces: this.hideFaces, proposed: this.proposed });
    },
    onKey(event) {
      if (event.key.length !== 1 || !SAVE_KEYS.includes(event.key) || event.ctrlKey || event.metaKey || event.altKey) return;
      const chosen = event.currentTarget.querySelector(`[data-key="${event.key}"]`);
      if (!chosen) return;
      event.preventDefault();
      chosen.click();
    },
  },
};

/** How far the output is that is being made, "" where none is. */
export function makingText(outputs) {
  const open = outputs.find((made) => made.state === "running");
  return open ? percent(open) : "";
}

const percent = (made) => `${Math.floor(100 * made.progress)} %`;

function words(made) {
  if (made.state === "running") return made.progress ? percent(made) : "just begins";
  return { queued: "waits its turn", done: "is ready", cancelled: "was stopped", failed: made.message }[made.state];
}
