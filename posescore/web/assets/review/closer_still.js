// One frame as large as the window allows: the pair, a part of one body, or all of it, with skeletons or without.

import { clockText } from "../common/clock.js";
import { Window } from "../common/windows.js";
import { PARTS, capital } from "../common/words.js";

const WIDTH_PX = 1600;
const KEYS = { ArrowLeft: -1, ArrowRight: 1 };

/**
 * The address of a still.
 * @param {{url: string, opinion: string, skeletons: boolean, version: string}} about
 * @param {number} frameIndex
 * @param {{skeletons?: boolean, part?: string, athlete?: string, whole?: boolean, width?: number}} [how]
 */
export function stillAddress(about, frameIndex, how = {}) {
  const asked = new URLSearchParams({ opinion: about.opinion, skeletons: String(how.skeletons ?? about.skeletons), v: about.version });
  if (how.part && how.athlete) {
    asked.set("part", how.part);
    asked.set("athlete", how.athlete);
  }
  if (how.whole) asked.set("whole", "true");
  if (how.width) asked.set("width", String(how.width));
  return `${about.url}/stills/${frameIndex}?${asked}`;
}

/** @type {import("../vendor/vue.js").Component} */
export const CloserWindow = {
  name: "CloserWindow",
  components: { Window },
  props: {
    start: { type: Object, required: true }, // frame, part, athlete
    about: { type: Object, required: true },
    names: { type: Object, required: true },
    clock: { type: Object, required: true },
  },
  emits: ["close", "seek"],
  template: `
    <Window heading="A closer look" wide @close="$emit('close')" @keydown="onKey">
      <div class="closer-still">
        <img :src="shown" width="1600" height="900" :alt="words" @load="onLoad" @error="onError">
        <p v-if="gone" class="problem" role="alert">The picture needs the footage, and it is not there.</p>
        <p class="num" role="status">{{ words }}</p>
        <div class="acts">
          <button type="button" data-first aria-label="One frame back" @click="step(-1)">\u2039 <kbd>\u2190</kbd></button>
          <button type="button" aria-label="One frame on" @click="step(1)">\u203a <kbd>\u2192</kbd></button>
          <label class="field beside">Show <select v-model="cut" aria-label="What is shown">
            <option value="pair">the pair</option><option value="whole">the whole picture</option>
            <optgroup v-for="athlete in ['A', 'B']" :key="athlete" :label="athlete + ': ' + names[athlete]">
              <option v-for="(text, part) in parts" :key="part" :value="part + ' ' + athlete">{{ text }}</option></optgroup></select></label>
          <label class="choice"><input type="checkbox" v-model="skeletons"> Skeletons <kbd>S</kbd></label>
          <button type="button" @click="$emit('seek', clock.time(frame))">Show it in the footage</button></div>
      </div>
    </Window>`,
  data() {
    const { frame, part, athlete } = this.start;
    return { frame, cut: part && athlete ? `${part} ${athlete}` : "pair", skeletons: this.about.skeletons, shown: "", gone: false };
  },
  computed: {
    parts() {
      return PARTS;
    },
    address() {
      const [part, athlete] = this.cut.split(" ");
      const how = athlete ? { part, athlete } : { whole: part === "whole" };
      return stillAddress(this.about, this.frame, { ...how, skeletons: this.skeletons, width: WIDTH_PX });
    },
    words() {
      const [part, athlete] = this.cut.split(" ");
      const what = athlete ? `${capital(PARTS[part])} of ${this.names[athlete]}` : part === "whole" ? "The whole picture" : "The pair";
      return `${what}, ${clockText(this.clock.time(this.frame))}, frame ${this.frame}`;
    },
  },
  watch: {
    address: {
      immediate: true,
      handler() {
        if (!this.loading) this.load();
      },
    },
  },
  methods: {
    /** One picture at a time: a held key asks for the last frame it came to, not for all on the way. */
    load() {
      if (this.shown === this.address) return;
      this.loading = true;
      this.shown = this.address;
    },
    onLoad() {
      this.loading = false;
      this.gone = false;
      this.load();
    },
    onError() {
      this.loading = false;
      this.gone = true;
    },
    step(by) {
      this.frame = this.clock.clamp(this.frame + by);
    },
    onKey(event) {
      if (event.target.closest("select, input") || event.ctrlKey || event.metaKey || event.altKey) return;
      if (event.key.toLowerCase() === "s") this.skeletons = !this.skeletons;
      else if (KEYS[event.key]) this.step(KEYS[event.key]);
      else return;
      event.preventDefault();
    },
  },
};
