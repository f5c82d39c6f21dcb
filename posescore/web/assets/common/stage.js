// The footage with both skeletons over it. The frame that is named is the frame that is shown: seeks
// aim inside a frame's time, and the name changes only once the browser has presented it.

import { clockText } from "./clock.js";
import { WHOLE, around, laid, towards, zoomed } from "./closer.js";
import { Hands } from "./hands.js";
import { drawSkeletons } from "./skeleton.js";

const CALIBRATION_WAIT_MS = 400;
const PRESENT_WAIT_MS = 200;
const MOST_TRIES = 5;
const A_STEP = 1.5; // a press on a key or a button enlarges so much
const DRIFT_S = 0.08; // sound further from the picture than this is put right

/** @type {import("../vendor/vue.js").Component} */
export default {
  name: "FootageStage",
  props: {
    footage: { type: Object, required: true },
    clock: { type: Object, required: true },
    track: { type: Object, default: null },
    bones: { type: Array, required: true },
    shown: { type: Object, required: true },
    rate: { type: Number, default: 1 },
    loop: { type: Object, default: null },
    caption: { type: String, default: "" },
    sound: { type: Boolean, default: false },
    follows: { type: Boolean, default: false }, // keeps the pair in the middle, as large as it fits
  },
  emits: ["frame", "playing", "ended", "trouble", "view", "silent"],
  template: `
    <figure ref="figure" class="stage" :class="{closer: view.times > 1}" :style="{'--ratio': footage.width / footage.height}">
      <video ref="video" :src="footage.url" preload="auto" playsinline muted tabindex="-1" :style="{transform: laid(view)}"
        :aria-label="'Footage. ' + caption" @play="onPlay(true)" @pause="onPlay(false)"
        @seeked="onSeeked" @loadeddata="onLoaded" @error="onError"></video>
      <canvas ref="overlay" aria-hidden="true"></canvas>
      <audio v-if="sound" ref="audio" :src="footage.url.replace(/footage$/, 'sound')" preload="auto" @error="$emit('silent')"></audio>
      <figcaption v-if="loop" class="stage-note">Repeats {{ text(loop.start_s) }} to {{ text(loop.end_s) }}</figcaption>
    </figure>`,
  data() {
    return { view: WHOLE };
  },
  created() {
    this.offset = null; // seconds between the browser's media time and the clock
    this.presented = 0;
    this.wanted = null; // the frame that was asked for and is not on the screen yet
    this.tries = 0;
    this.blind = false; // true where the browser has no picture to show
    this.meant = null; // a frame that the browser would not show: the next step goes on from there
    this.queued = null; // the frame to seek to once the seek under way has ended
    this.playDue = false; // true where play was asked for before the wanted frame was on the screen
  },
  mounted() {
    this.resizes = new ResizeObserver(() => this.draw());
    this.resizes.observe(this.$refs.overlay);
    this.hands = new Hands(this.$refs.figure, { view: () => this.view, look: (view) => this.look(view, true), press: () => this.toggle() });
    this.watchFrames();
  },
  beforeUnmount() {
    this.resizes.disconnect();
    this.gone = true;
  },
  watch: {
    rate(value) {
      this.$refs.video.playbackRate = value;
      if (this.$refs.audio) this.$refs.audio.playbackRate = value;
    },
    follows(now) {
      this.draw();
      if (!now) this.look(WHOLE);
    },
    sound() {
      this.$nextTick(() => this.hear());
    },
    shown: {
      deep: true,
      handler() {
        this.draw();
      },
    },
    track() {
      this.draw();
    },
  },
  methods: {
    text: clockText,
    laid,
    /** Show a part of the picture; `byHand` where a person chose it, which ends following. */
    look(view, byHand = false) {
      this.view = view;
      this.$emit("view", view, byHand);
      this.draw();
    },
    /** One step closer (1) or away (-1). */
    zoom(by) {
      this.look(zoomed(this.view, A_STEP ** by), true);
    },
    /** What is heard goes with what is seen: it plays with it, as fast, and from the same instant. */
    hear() {
      const { audio, video } = this.$refs;
      if (!audio || this.offset === null) return;
      const should = video.currentTime - this.offset;
      if (Math.abs(audio.currentTime - should) > DRIFT_S * Math.max(1, this.rate)) audio.currentTime = Math.max(0, should);
      audio.playbackRate = this.rate;
      if (video.paused === audio.paused) return;
      if (video.paused) audio.pause();
      else audio.play().catch(() => this.$emit("silent"));
    },
    toggle() {
      const video = this.$refs.video;
      if (!video.paused) return video.pause();
      if (this.wanted !== null && this.offset !== null) {
        this.playDue = !this.playDue;
        return undefined;
      }
      if (this.presented >= this.clock.length - 1) this.goTo(0);
      video.playbackRate = this.rate;
      return video.play().catch((error) => this.$emit("trouble", `The footage does not play: ${error.message}`));
    },
    pause() {
      this.playDue = false;
      this.$refs.video.pause();
    },
    /** The wanted frame is on the screen, or the browser never says so: what waited for it goes on. */
    arrive() {
      this.wanted = null;
      if (!this.playDue) return;
      this.playDue = false;
      this.toggle();
    },
    /** Move by frames from the frame that is shown, or from the one that is on its way. */
    step(frames) {
      this.pause();
      this.goTo((this.wanted ?? this.meant ?? this.presented) + frames);
    },
    jump(seconds) {
      const from = this.clock.time(this.wanted ?? this.presented);
      this.goTo(this.clock.at(from + seconds));
    },
    goToTime(seconds) {
      this.goTo(this.clock.at(seconds + 1e-6));
    },
    goTo(frameIndex) {
      const video = this.$refs.video;
      clearTimeout(this.checking);
      this.wanted = this.clock.clamp(frameIndex);
      this.meant = null;
      this.queued = null;
      this.tries = 0;
      if (this.blind) return this.showFrame(this.wanted);
      if (this.offset === null) return undefined;
      if (video.seeking) this.queued = this.wanted;
      else if (video.paused && this.wanted === this.presented) this.arrive();
      else this.seek();
      return undefined;
    },
    seek() {
      this.$refs.video.currentTime = this.clock.inside(this.wanted, this.tries) + this.offset;
    },
    watchFrames() {
      const video = this.$refs.video;
      if (!video.requestVideoFrameCallback) return this.watchByPolling();
      const next = (_, about) => {
        if (this.gone) return;
        this.present(about.mediaTime);
        video.requestVideoFrameCallback(next);
      };
      return video.requestVideoFrameCallback(next);
    },
    watchByPolling() {
      const next = () => {
        if (this.gone) return;
        const video = this.$refs.video;
        if (this.offset !== null && !video.seeking) this.showFrame(this.clock.at(video.currentTime - this.offset));
        requestAnimationFrame(next);
      };
      requestAnimationFrame(next);
    },
    /** A frame came on the screen; `mediaTime` is its own presentation time in the file. */
    present(mediaTime) {
      if (this.offset === null) this.calibrate(mediaTime - this.clock.time(0));
      this.showFrame(this.clock.nearest(mediaTime - this.offset));
    },
    /** The first frame shows where the browser's zero lies for this file. */
    calibrate(offset) {
      this.offset = Math.abs(offset) < 1 ? offset : 0;
      if (this.wanted !== null) this.goTo(this.wanted);
    },
    showFrame(frameIndex) {
      const arrived = frameIndex === this.wanted;
      this.presented = frameIndex;
      this.draw();
      if (this.sound) this.hear();
      this.$emit("frame", { index: frameIndex, time_s: this.clock.time(frameIndex) });
      if (arrived && this.wanted === frameIndex) this.arrive();
      if (this.loop && !this.$refs.video.paused && this.clock.time(frameIndex) >= this.loop.end_s - 1e-6) {
        this.goToTime(this.loop.start_s);
      }
    },
    draw() {
      const canvas = this.$refs.overlay;
      if (!canvas) return;
      const index = this.presented;
      const redraw = () => this.presented === index && this.draw();
      const pair = this.track?.at(index, this.clock.time(index), redraw) ?? null;
      if (this.follows && pair) {
        const there = around(pair);
        if (there) {
          this.view = towards(this.view, there, this.$refs.video.paused);
          this.$emit("view", this.view, false);
        }
      }
      drawSkeletons(canvas, pair, this.bones, this.shown, this.view);
    },
    onLoaded() {
      setTimeout(() => !this.gone && this.offset === null && this.calibrate(0), CALIBRATION_WAIT_MS);
    },
    onPlay(playing) {
      if (this.gone) return;
      if (playing && this.queued === null) this.wanted = this.meant = null;
      const ended = !playing && this.$refs.video.ended;
      if (!playing && this.wanted === null) this.settle();
      this.hear();
      this.$emit("playing", playing);
      if (ended) this.$emit("ended");
    },
    /** A browser that stops may show one frame more than it has said: go to the frame that is named. */
    settle() {
      if (this.offset === null) return;
      this.wanted = this.$refs.video.ended ? this.clock.length - 1 : this.presented;
      this.tries = 0;
      this.seek();
    },
    onSeeked() {
      if (this.gone) return;
      if (this.queued !== null) {
        // Always a seek: the frame that was passed over may never have come on the screen.
        this.wanted = this.queued;
        this.queued = null;
        this.tries = 0;
        this.seek();
      } else if (!this.$refs.video.paused) {
        this.wanted = null;
      } else {
        this.checking = setTimeout(() => this.check(), PRESENT_WAIT_MS);
      }
    },
    /** A busy browser may show a frame without saying so: then a seek by a hair makes it say it. */
    check() {
      const video = this.$refs.video;
      if (!video || this.wanted === null || video.seeking || !video.paused) return undefined;
      this.tries += 1;
      if (this.tries <= MOST_TRIES) return this.seek();
      this.meant = this.wanted;
      return this.arrive();
    },
    /** Without a picture the skeletons can still be walked through, frame by frame. */
    async onError() {
      if (this.gone) return;
      this.blind = true;
      this.offset = 0;
      if (this.wanted !== null) this.goTo(this.wanted);
      this.$emit("trouble", await this.whyNot());
    },
    async whyNot() {
      const cannot = "The browser cannot play this footage. Analyse the match again to make a copy that it can play.";
      try {
        const answer = await fetch(this.footage.url, { headers: { Range: "bytes=0-0" } });
        return answer.ok ? cannot : (await answer.json()).error ?? cannot;
      } catch {
        return cannot;
      }
    },
  },
};
