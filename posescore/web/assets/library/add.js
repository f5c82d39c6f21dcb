// The window in which matches are added: videos chosen, dropped or named, and what is said of them.

import { AthleteFields, EventFields } from "./fields.js";
import { many, sizeText } from "./words.js";
import { ask } from "../common/server.js";
import { Window } from "../common/windows.js";

const STATES = {
  waiting: "waits to be sent", sending: "being sent", here: "ready to be added", adding: "being looked at",
  added: "is added", known: "in the library already", refused: "cannot be added",
};

/** @type {import("../vendor/vue.js").Component} */
export const AddWindow = {
  name: "AddWindow",
  components: { AthleteFields, EventFields, Window },
  props: {
    items: { type: Array, required: true }, shared: { type: Object, required: true },
    choices: { type: Object, required: true }, started: { type: Boolean, required: true },
  },
  emits: ["again", "close", "files", "paths", "remove", "start"],
  template: `
    <Window heading="Add matches" wide steady @close="$emit('close')">
      <form class="add" @submit.prevent="start">
        <div class="sources">
          <div class="source"><h3>Files</h3>
            <p class="hint">Choose videos, or drop them anywhere on this page. They are copied into the library on this computer.</p>
            <label class="button" :class="{primary: !items.length}"><input type="file" class="sr" data-first multiple :accept="accept" @change="onFiles">Choose files</label></div>
          <div v-if="choices.names_paths" class="source"><h3>A folder on this computer</h3>
            <p class="hint" id="folder-hint">Its videos stay where they are and are read from there.</p>
            <span class="with-button"><input type="text" v-model="path" aria-label="Whole path of a folder or file" aria-describedby="folder-hint folder-problem"
              placeholder="/home/me/Videos" @keydown.enter.prevent="look">
              <button type="button" :disabled="looking || !path.trim()" @click="look">{{ looking ? 'Looking' : 'Look' }}</button></span></div>
        </div>
        <p id="folder-problem" class="problem" role="alert">{{ problem }}</p>
        <fieldset v-if="found.length" class="found"><legend>{{ foundWords }}</legend>
          <div class="found-list"><label v-for="video in found" :key="video.path" class="found-line"><input type="checkbox" v-model="chosen" :value="video.path" :disabled="video.match_id !== null">
            <span>{{ video.name }}</span> <span class="hint">{{ video.match_id === null ? size(video.size_bytes) : 'in the library already' }}, {{ video.made_on }}</span></label></div>
          <button type="button" :disabled="!chosen.length" @click="take">Take {{ count(chosen.length, 'video', 'videos') }}</button></fieldset>

        <template v-if="items.length">
          <ul class="items" aria-label="Videos to add">
            <li v-for="item in items" :key="item.id" class="item" :class="'item-' + item.state">
              <div class="item-head"><b>{{ item.name }}</b> <span class="hint">{{ size(item.sizeBytes) }}{{ item.about }}</span>
                <span class="item-state">{{ states[item.state] }}<template v-if="item.state === 'sending'">, {{ Math.floor(item.sent * 100) }} %</template></span>
                <button v-if="item.state === 'refused'" type="button" class="quiet" :aria-label="'Try again with ' + item.name" @click="$emit('again', item)">Try again</button>
                <button v-if="removable(item)" type="button" class="quiet" :aria-label="'Leave out ' + item.name" @click="$emit('remove', item)">Leave out</button></div>
              <progress v-if="item.state === 'sending'" :value="item.sent" max="1" :aria-label="'Sending ' + item.name"></progress>
              <p v-if="item.trouble" :class="item.state === 'known' ? 'hint' : 'problem'" role="alert">{{ item.trouble }}</p>
              <details v-if="editable(item)" :open="items.length < 3"><summary>Title and athletes <span class="sr">of {{ item.name }}</span></summary>
                <label class="field">Title <input type="text" v-model="item.details.title" maxlength="200"></label>
                <athlete-fields :details="item.details" :choices="choices" :label="item.name"></athlete-fields></details>
            </li>
          </ul>
          <p v-if="started" role="status">Adding: each match appears in the list as soon as it is there. You may close this window.</p>
          <template v-if="left.length">
            <h3>{{ items.length > 1 ? 'The event, for all of them' : 'The event' }}</h3>
            <event-fields :details="shared" :choices="choices"></event-fields>
            <p class="hint">Footage of people needs their consent; of minors, their parents' as well. Everything can be changed later.</p>
            <div class="acts">
              <button type="submit" class="primary" :disabled="started">Add {{ count(left.length, 'match', 'matches') }}</button>
              <label class="choice"><input type="checkbox" v-model="analyse"> Analyse right away</label></div>
          </template>
        </template>
      </form>
    </Window>`,
  data() {
    return { path: "", looking: false, problem: "", found: [], more: false, chosen: [], analyse: true };
  },
  computed: {
    accept() {
      return this.choices.suffixes.join(",");
    },
    states() {
      return STATES;
    },
    left() {
      return this.items.filter((item) => this.editable(item));
    },
    foundWords() {
      return `${many(this.found.length, "video", "videos")} found${this.more ? ", and there are more: name a folder further in" : ""}`;
    },
  },
  methods: {
    size: sizeText,
    count: many,
    editable(item) {
      return ["waiting", "sending", "here"].includes(item.state) && !item.wanted;
    },
    removable(item) {
      return item.state !== "adding" && item.state !== "sending" && (!item.wanted || Boolean(item.trouble));
    },
    onFiles(event) {
      this.$emit("files", [...event.target.files]);
      event.target.value = "";
    },
    async look() {
      if (!this.path.trim() || this.looking) return;
      this.looking = true;
      this.problem = "";
      this.found = [];
      try {
        const { videos, more } = await ask("/api/footage/scan", { path: this.path });
        this.found = videos;
        this.more = more;
        this.chosen = videos.filter((video) => video.match_id === null).map((video) => video.path);
      } catch (error) {
        this.problem = error.message;
      } finally {
        this.looking = false;
      }
    },
    take() {
      this.$emit("paths", this.found.filter((video) => this.chosen.includes(video.path)));
      this.found = [];
      this.chosen = [];
    },
    start() {
      if (!this.started && this.left.length) this.$emit("start", this.analyse);
    },
  },
};
