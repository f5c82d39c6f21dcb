// What every page with footage shares: keys, speed, skeletons, and the bar under the picture.

import { clockText } from "./clock.js";
import { Keys, isTaken, keyName, shown } from "./keys.js";

const RATES = [0.25, 0.5, 1, 1.5, 2, 4];
const SHOWN = [{ A: true, B: true }, { A: true, B: false }, { A: false, B: true }, { A: false, B: false }];
const SHOWN_WORDS = ["both", "A only", "B only", "hidden"];
const JUMP_S = 5;

/**
 * Mixed into a page. The page has `clock`, a stage as `$refs.stage`, `ready`, and its own actions in `acts()`;
 * `actions` are its keys and `page` names them in the browser's store.
 */
export const watching = (actions, page) => /** @type {import("../vendor/vue.js").Component} */ ({
  provide() {
    return { room: this };
  },
  data() {
    return {
      clock: null, track: null, trouble: "", said: "", open: "", frame: { index: 0, time_s: 0 }, playing: false,
      rateIndex: 2, shownIndex: 0, keysVersion: 0,
    };
  },
  computed: {
    rate() {
      return RATES[this.rateIndex];
    },
    shown() {
      return SHOWN[this.shownIndex];
    },
    shownWords() {
      return SHOWN_WORDS[this.shownIndex];
    },
  },
  created() {
    this.keys = new Keys(actions, page);
  },
  mounted() {
    window.addEventListener("keydown", this.onKey);
    window.addEventListener("click", letGo);
  },
  beforeUnmount() {
    window.removeEventListener("keydown", this.onKey);
    window.removeEventListener("click", letGo);
  },
  methods: {
    text: clockText,
    keyOf(id) {
      void this.keysVersion;
      return this.keys.on ? shown(this.keys.keysOf(id)[0]) : "";
    },
    hint(id) {
      const key = this.keyOf(id);
      const words = actions.find((action) => action.id === id).text;
      return key ? `${words} (${key})` : words;
    },
    onKey(event) {
      if (event.altKey || event.defaultPrevented || !this.ready || this.open || isTaken(event)) return;
      const id = this.keys.actionOf(keyName(event));
      if (!id) return;
      event.preventDefault();
      this.act(id);
    },
    act(id) {
      if (this.waits?.(id)) return;
      const stage = this.$refs.stage;
      const all = {
        play: () => stage.toggle(),
        frame_back: () => stage.step(-1),
        frame_on: () => stage.step(1),
        jump_back: () => stage.jump(-JUMP_S),
        jump_on: () => stage.jump(JUMP_S),
        start: () => stage.goTo(0),
        end: () => stage.goTo(this.clock.length - 1),
        slower: () => this.setRate(-1),
        faster: () => this.setRate(1),
        skeletons: () => this.nextShown(),
        keys: () => this.show("keys"),
        ...this.acts(),
      };
      all[id]();
    },
    show(name) {
      this.$refs.stage.pause();
      this.trouble = "";
      this.open = name;
    },
    onFrame(frame) {
      this.frame = frame;
    },
    setRate(by) {
      this.rateIndex = Math.min(RATES.length - 1, Math.max(0, this.rateIndex + by));
      this.say(`Speed ${this.rate} times`);
    },
    nextShown() {
      this.shownIndex = (this.shownIndex + 1) % SHOWN.length;
      this.say(`Skeletons: ${this.shownWords}`);
    },
    seek(seconds) {
      this.$refs.stage.goToTime(seconds);
    },
    say(text) {
      this.said = text;
    },
  },
});

/** @type {import("../vendor/vue.js").Component} */
export const PlayBar = {
  name: "PlayBar",
  props: {
    frame: { type: Object, required: true },
    playing: { type: Boolean, required: true },
    rate: { type: Number, required: true },
    shownWords: { type: String, required: true },
    hint: { type: Function, required: true },
    goes: { type: Boolean, default: false }, // to a time or frame that a person types
  },
  emits: ["act"],
  template: `
    <div class="transport" role="toolbar" aria-label="Playing">
      <button type="button" :title="hint('jump_back')" aria-label="5 seconds back" @click="$emit('act', 'jump_back')">\u22125 s</button>
      <button type="button" :title="hint('frame_back')" aria-label="One frame back" @click="$emit('act', 'frame_back')">\u2039</button>
      <button type="button" class="primary play" :title="hint('play')" @click="$emit('act', 'play')">{{ playing ? 'Pause' : 'Play' }}</button>
      <button type="button" :title="hint('frame_on')" aria-label="One frame on" @click="$emit('act', 'frame_on')">\u203a</button>
      <button type="button" :title="hint('jump_on')" aria-label="5 seconds on" @click="$emit('act', 'jump_on')">+5 s</button>
      <component :is="goes ? 'button' : 'span'" :type="goes ? 'button' : null" class="where num" :title="goes ? hint('go') : null"
        :aria-label="goes ? 'Go to a time or frame' : null" @click="goes && $emit('act', 'go')">
        <b id="time-now">{{ text(frame.time_s) }}</b> <span>frame <span id="frame-now">{{ frame.index }}</span></span></component>
      <span class="grow"></span>
      <span class="speed"><button type="button" :title="hint('slower')" aria-label="Slower" @click="$emit('act', 'slower')">\u2212</button>
        <span class="num" aria-label="Speed">{{ rate }}\u00d7</span>
        <button type="button" :title="hint('faster')" aria-label="Faster" @click="$emit('act', 'faster')">+</button></span>
      <slot></slot>
      <button type="button" :title="hint('skeletons') + '. Fainter lines and hollow points: the program is less sure.'" @click="$emit('act', 'skeletons')">Skeletons: {{ shownWords }}</button>
    </div>`,
  methods: { text: clockText },
};

/** After a click with the mouse the focus goes back to the page, so that the space bar plays and pauses. */
function letGo(event) {
  if (event.detail === 0 || !(event.target instanceof Element) || event.target.closest("dialog")) return;
  event.target.closest("button, summary")?.blur();
}

export function keptAuthor() {
  try {
    return localStorage.getItem("posescore.author") ?? "";
  } catch {
    return "";
  }
}

/** What a person without a name is called: by a number, since two of them are not one. */
export function somebody() {
  const made = `reviewer ${100 + Math.floor(900 * Math.random())}`;
  try {
    const kept = localStorage.getItem("posescore.somebody") ?? made;
    localStorage.setItem("posescore.somebody", kept);
    return kept;
  } catch {
    return made;
  }
}

export function keepAuthor(name) {
  try {
    localStorage.setItem("posescore.author", name);
  } catch {
    // Nothing is lost but the name in the next window.
  }
}
