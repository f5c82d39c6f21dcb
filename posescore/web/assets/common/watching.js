// What every page with footage shares: keys, speed, skeletons, and the bar under the picture.

import { clockText } from "./clock.js";
import { WHOLE } from "./closer.js";
import { Keys, isTaken, keyName, shown } from "./keys.js";

const RATES = [0.1, 0.25, 0.5, 1, 1.5, 2, 4];
const USUAL_RATE = RATES.indexOf(1);
const SHOWN = [{ A: true, B: true }, { A: true, B: false }, { A: false, B: true }, { A: false, B: false }];
const SHOWN_WORDS = ["A and B", "A only", "B only", "none shown"];
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
      rateIndex: USUAL_RATE, shownIndex: 0, follows: false, sound: false, times: 1, keysVersion: 0,
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
        zoom_in: () => this.zoom(1),
        zoom_out: () => this.zoom(-1),
        whole: () => this.whole(),
        follow: () => this.follow(),
        full: () => this.full(),
        sound: () => this.switchSound(),
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
    zoom(by) {
      this.$refs.stage.zoom(by);
      this.say(`${this.times.toFixed(1)} times as large`);
    },
    whole() {
      this.follows = false;
      this.$refs.stage.look(WHOLE);
      this.say("The whole picture");
    },
    follow() {
      this.follows = !this.follows;
      this.say(this.follows ? "Follows the pair" : "Follows nobody");
    },
    onView(view, byHand) {
      this.times = view.times;
      if (byHand) this.follows = false;
    },
    /** The footage with its buttons, as large as the screen. */
    full() {
      const place = this.$el.querySelector?.(".watch") ?? document.querySelector(".watch");
      if (document.fullscreenElement) return document.exitFullscreen();
      return place?.requestFullscreen?.().catch(() => this.say("This browser gives no full screen here."));
    },
    switchSound() {
      this.sound = !this.sound;
      this.say(this.sound ? "Sound on" : "Sound off");
    },
    onSilent() {
      this.sound = false;
      this.say("This footage has no sound that could be played.");
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
    times: { type: Number, default: 1 }, // how many times the picture is enlarged
    follows: { type: Boolean, default: false },
    sound: { type: Boolean, default: false },
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
      <span class="speed"><button type="button" :title="hint('zoom_out')" aria-label="Less close" :disabled="times <= 1" @click="$emit('act', 'zoom_out')">\u2212</button>
        <span class="num" aria-label="Enlarged">{{ times.toFixed(1) }}:1</span>
        <button type="button" :title="hint('zoom_in')" aria-label="Closer" @click="$emit('act', 'zoom_in')">+</button></span>
      <button type="button" :title="hint('follow')" :aria-pressed="follows" @click="$emit('act', 'follow')">Follow</button>
      <button type="button" :title="hint('full')" @click="$emit('act', 'full')">Full screen</button>
      <button type="button" :title="hint('sound')" :aria-pressed="sound" @click="$emit('act', 'sound')">Sound</button>
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
