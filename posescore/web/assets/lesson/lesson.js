// One match for a class or for parents: plays, pauses at every moment, and says it in two sentences. Nothing
// on this page changes anything.

import { Clock, clockText } from "../common/clock.js";
import { KeysWindow } from "../review/dialogs.js";
import { LESSON_ACTIONS } from "../common/keys.js";
import { saving } from "../common/saving.js";
import { ask } from "../common/server.js";
import FootageStage from "../common/stage.js";
import { TrackReader } from "../common/track.js";
import { PlayBar, watching } from "../common/watching.js";

const LEAD_S = 3;
const DRAWN = { A: "full lines, round points", B: "dashed lines, square points" };

/** @type {import("../vendor/vue.js").Component} */
export default {
  name: "LessonRoom",
  mixins: [watching(LESSON_ACTIONS, "lesson")],
  components: { FootageStage, KeysWindow, PlayBar },
  props: { matchId: { type: Number, required: true }, bones: { type: Array, required: true } },
  template: `
    <div class="room lesson" v-if="ready">
      <header class="bar">
        <a href="/" class="home">PoseScore</a>
        <div class="bar-title"><h1 :title="review.match.title">{{ review.match.title }}: a lesson</h1><p v-if="review.match.about">{{ review.match.about }}</p></div>
        <nav class="ways" aria-label="Other views of this match"><a :href="'/match/' + matchId">Review</a></nav>
        <label class="choice"><input type="checkbox" v-model="proposed" @change="reload"> Also what nobody confirmed</label>
        <label class="choice"><input type="checkbox" v-model="hideFaces"> Faces and names hidden in the file</label>
        <button type="button" :disabled="!!making" @click="makeOutput('lesson', {proposed, hide_faces: hideFaces, skeletons: shown.A || shown.B})">Save in one file {{ making }}</button>
        <button type="button" @click="show('keys')" aria-haspopup="dialog">Keys <kbd v-if="keyOf('keys')">{{ keyOf('keys') }}</kbd></button>
      </header>
      <p v-if="trouble" class="trouble" role="alert">{{ trouble }}</p>
      <div class="desk">
        <div class="watch">
          <footage-stage ref="stage" :footage="review.footage" :clock="clock" :track="track" :bones="bones" :shown="shown" :rate="rate" :sound="sound" :follows="follows" @view="onView" @silent="onSilent"
            :caption="caption" @frame="onFrame" @playing="onPlaying" @ended="onEnded" @trouble="trouble = $event"></footage-stage>
          <dl class="lesson-score" aria-label="Who is who, and how it stands"><div v-for="row in legend" :key="row.letter">
            <dt><b class="chip" :class="'chip-' + row.letter">{{ row.letter }}</b> {{ row.name }} <span class="soft">{{ row.marks }}</span></dt><dd class="num"><b>{{ row.points }}</b> <span class="sr">points confirmed</span></dd></div></dl>
          <section class="moment" :class="{open: !!now && !now.decided}" aria-live="polite" aria-atomic="true">
            <template v-if="now"><p class="moment-head"><b v-if="now.athlete" class="chip" :class="'chip-' + now.athlete">{{ now.athlete }}</b> <b>{{ now.title }}</b> <span class="soft">{{ now.word }}</span></p>
              <p class="moment-words">{{ now.what }} {{ now.worth }}</p></template>
            <template v-else-if="ended"><p class="moment-words">{{ result }}</p></template>
            <p v-else class="moment-words soft">{{ playing ? 'Plays on to the next moment.' : 'Press play: the footage stops at every moment that scored, or nearly did.' }}</p>
            <div class="acts"><button type="button" class="primary" @click="act('play')">{{ playing ? 'Pause' : now ? 'Go on' : 'Play' }} <kbd v-if="keyOf('play')">{{ keyOf('play') }}</kbd></button>
              <button v-if="now" type="button" @click="act('again')">See it again <kbd v-if="keyOf('again')">{{ keyOf('again') }}</kbd></button></div>
          </section>
          <play-bar :frame="frame" :playing="playing" :rate="rate" :shown-words="shownWords" :times="times" :follows="follows" :sound="sound" :hint="hint" @act="act"></play-bar>
        </div>
        <aside class="side" aria-label="Moments">
          <ol class="proposals moments" aria-label="Moments, in the order of the match">
            <li v-for="(moment, i) in moments" :key="moment.line"><button type="button" :aria-current="i === at ? 'true' : null" :class="{open: !moment.decided}" @click="goToMoment(i)">
              <span class="num">{{ text(moment.time_s) }}</span> <b v-if="moment.athlete" class="chip" :class="'chip-' + moment.athlete">{{ moment.athlete }}</b>
              <span>{{ moment.title }}<small v-if="!moment.decided"> proposed</small></span></button></li>
            <li v-if="!moments.length" class="empty">Nothing is confirmed yet. Confirm something in the review first, or show what nobody confirmed.</li>
          </ol>
          <p class="fine">Nothing can be changed here. The referee's call stands. Practise chokes and joint locks under a qualified instructor only.</p>
        </aside>
      </div>
      <p class="sr" role="status" aria-live="polite" id="said">{{ said }}</p>
      <p v-if="said" class="toast" aria-hidden="true" :key="said">{{ said }}</p>
      <keys-window v-if="open === 'keys'" :keys="keys" @close="open = ''" @changed="keysVersion += 1"></keys-window>
    </div>
    <div class="room waiting" v-else><h1>PoseScore</h1><p v-if="trouble" role="alert">{{ trouble }} <a href="/">All matches</a></p><p v-else>Opening the lesson\u2026</p></div>`,
  data() {
    return { review: null, moments: [], result: "", at: -1, ended: false, proposed: false, hideFaces: false, outputs: [] };
  },
  computed: {
    ready() {
      return this.review !== null;
    },
    url() {
      return `/api/matches/${this.matchId}`;
    },
    opinion() {
      return "";
    },
    /** The moment that the footage stands at. */
    now() {
      return this.playing ? null : this.moments[this.at] ?? null;
    },
    /** Both athletes as they are drawn, with the confirmed points by the instant that is shown. */
    legend() {
      const points = this.review.curve.findLast((step) => step.time_s <= this.frame.time_s + 1e-6)?.points ?? { A: 0, B: 0 };
      return ["A", "B"].map((letter) => {
        const { shown, gi_colour } = this.review.match.athletes[letter];
        return { letter, name: shown, points: points[letter], marks: [gi_colour && `${gi_colour} gi`, DRAWN[letter]].filter(Boolean).join(", ") };
      });
    },
    caption() {
      return this.now ? this.now.title : clockText(this.frame.time_s);
    },
    making() {
      const open = this.outputs.find((made) => made.state === "running" || made.state === "queued");
      return open ? `${Math.floor(100 * open.progress)} %` : "";
    },
  },
  created() {
    this.arriving = false; // true from asking for a moment until its frame is on the screen
    this.load();
  },
  methods: {
    ...saving,
    async load() {
      try {
        const [review, clock] = await Promise.all([ask(this.url), Clock.load(`${this.url}/clock`), this.reload()]);
        this.clock = Object.freeze(clock);
        this.track = review.track ? new TrackReader(review.track) : null;
        if (this.track) this.track.swaps = review.swaps;
        this.review = Object.freeze(review);
        document.title = `Lesson: ${review.match.title} \u2013 PoseScore`;
      } catch (error) {
        this.trouble = error.message;
      }
    },
    async reload() {
      const lesson = await ask(`${this.url}/lesson?proposed=${this.proposed}`);
      const here = this.moments[this.at]?.line;
      this.moments = lesson.moments;
      this.result = lesson.result;
      this.at = this.moments.findIndex((moment) => moment.line === here);
    },
    acts() {
      return {
        play: () => this.goOn(),
        next: () => this.goToMoment(this.now ? Math.min(this.at + 1, this.moments.length - 1) : this.nextAfter(this.frame.index)),
        previous: () => this.goToMoment(this.now ? Math.max(0, this.at - 1) : this.lastBefore(this.frame.index)),
        again: () => this.again(),
      };
    },
    goOn() {
      if (!this.playing && this.ended) this.at = -1;
      this.ended = false;
      this.$refs.stage.toggle();
    },
    onPlaying(playing) {
      this.playing = playing;
      if (playing) this.arriving = false;
    },
    /** Two moments can lie on one frame: the second of them is next all the same. */
    nextAfter(frameIndex) {
      const next = this.moments.findIndex((moment, i) => moment.frame_index > frameIndex || (moment.frame_index === frameIndex && i > this.at));
      return next < 0 ? this.moments.length - 1 : next;
    },
    lastBefore(frameIndex) {
      const before = this.moments.findLastIndex((moment, i) => moment.frame_index < frameIndex || (moment.frame_index === frameIndex && i < this.at));
      return Math.max(0, before);
    },
    goToMoment(index) {
      if (!this.moments[index]) return;
      this.$refs.stage.pause();
      this.at = index;
      this.ended = false;
      this.arriving = true;
      this.$refs.stage.goTo(this.moments[index].frame_index);
    },
    again() {
      const moment = this.moments[this.at];
      if (!moment) return;
      this.at -= 1;
      this.arriving = false;
      this.seek(Math.max(0, moment.start_s - LEAD_S));
      if (!this.playing) this.$refs.stage.toggle();
    },
    onFrame(frame) {
      const from = this.frame.index;
      this.frame = frame;
      if (!this.playing) return this.stray(frame.index);
      const due = this.moments.findIndex((moment, i) =>
        frame.index >= moment.frame_index && (moment.frame_index > from || (moment.frame_index === from && i > this.at)));
      if (due >= 0) this.goToMoment(due);
      else if (frame.index >= this.clock.length - 1) this.end();
      return undefined;
    },
    /** Whoever steps away from a moment while it is paused has left it. */
    stray(frameIndex) {
      if (this.moments[this.at]?.frame_index === frameIndex) this.arriving = false;
      else if (!this.arriving) this.at = -1;
    },
    /** The browser may stop before it says that it showed the last frames. */
    onEnded() {
      if (this.arriving) return;
      const due = this.moments.findIndex((moment) => moment.frame_index > this.frame.index);
      if (due >= 0) this.goToMoment(due);
      else this.end();
    },
    end() {
      this.at = -1;
      this.ended = true;
    },
  },
};
