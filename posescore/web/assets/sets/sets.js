// Sets of moments across matches: each plays its moments one after the other.

import { Clock } from "../common/clock.js";
import { SET_ACTIONS } from "../common/keys.js";
import { saving } from "../common/saving.js";
import { ask } from "../common/server.js";
import FootageStage from "../common/stage.js";
import { TrackReader } from "../common/track.js";
import { PlayBar, watching } from "../common/watching.js";
import { KeysWindow } from "../review/dialogs.js";

/** @type {import("../vendor/vue.js").Component} */
export default {
  name: "SetRoom",
  mixins: [watching(SET_ACTIONS, "sets")],
  components: { FootageStage, KeysWindow, PlayBar },
  props: { bones: { type: Array, required: true }, first: { type: String, default: "" } },
  template: `
    <div class="room lesson" v-if="kept">
      <header class="bar"><a href="/" class="home">PoseScore</a>
        <div class="bar-title"><h1>{{ name || 'Sets' }}</h1></div>
        <template v-if="moments.length"><label class="choice"><input type="checkbox" v-model="hideFaces"> Faces hidden in the film</label>
          <button type="button" :disabled="!!making" @click="film">Save as a film {{ making }}</button></template>
        <button type="button" @click="open = 'keys'" aria-haspopup="dialog">Keys <kbd v-if="keyOf('keys')">{{ keyOf('keys') }}</kbd></button></header>
      <p v-if="trouble" class="trouble" role="alert">{{ trouble }}</p>
      <nav v-if="names.length" class="only" aria-label="Sets"><a v-for="one in names" :key="one.name" class="button" :href="'/sets?name=' + encodeURIComponent(one.name)" :aria-current="one.name === name ? 'page' : null">{{ one.name }} <b class="num">{{ one.count }}</b></a></nav>
      <p v-else class="nothing">No moment is kept yet. On the page of a match a key keeps what is shown in a set.</p>
      <div class="desk" v-if="moments.length">
        <div class="watch">
          <footage-stage v-if="clock" ref="stage" :key="match.match.id" :footage="match.footage" :clock="clock" :track="track" :bones="bones" :shown="shown" :rate="rate" :sound="sound" :follows="follows" @view="onView" @silent="onSilent"
            @frame="onFrame" @playing="playing = $event" @trouble="trouble = $event"></footage-stage>
          <section class="moment" aria-live="polite" aria-atomic="true"><p class="moment-head"><b>{{ now.title }}</b> <span class="soft num">{{ text(now.start_s) }}</span></p><p class="moment-words">{{ now.remark }}</p></section>
          <play-bar :frame="frame" :playing="playing" :rate="rate" :shown-words="shownWords" :times="times" :follows="follows" :sound="sound" :hint="hint" @act="act"></play-bar>
        </div>
        <aside class="side" aria-label="Moments"><ol class="proposals moments" aria-label="Moments, in the order in which they were kept">
          <li v-for="(moment, i) in moments" :key="moment.id" class="kept-moment"><button type="button" :aria-current="i === at ? 'true' : null" @click="go(i)"><span class="num">{{ text(moment.start_s) }}</span> <span>{{ moment.title }}<small v-if="moment.remark">: {{ moment.remark }}</small></span></button>
            <button type="button" class="quiet" :aria-label="'Forget ' + moment.title + ', ' + text(moment.start_s)" @click="forget(moment)">Forget</button></li></ol>
          <p class="fine">The referee's call stands. Practise chokes and joint locks under a qualified instructor only.</p></aside>
      </div>
      <p class="sr" role="status" aria-live="polite" id="said">{{ said }}</p>
      <p v-if="said" class="toast" aria-hidden="true" :key="said">{{ said }}</p>
      <keys-window v-if="open === 'keys'" :keys="keys" @close="open = ''" @changed="keysVersion += 1"></keys-window>
    </div>
    <div class="room waiting" v-else><h1>PoseScore</h1><p v-if="trouble" role="alert">{{ trouble }} <a href="/">All matches</a></p></div>`,
  data() {
    return { kept: null, name: this.first, match: null, at: 0, hideFaces: false, outputs: [], goesOn: false };
  },
  computed: {
    ready() {
      return this.clock !== null;
    },
    names() {
      const all = this.kept.flatMap((moment) => moment.sets);
      return [...new Set(all)].map((name) => ({ name, count: all.filter((one) => one === name).length }));
    },
    moments() {
      return this.kept.filter((moment) => moment.sets.includes(this.name));
    },
    now() {
      return this.moments[this.at];
    },
    making() {
      const open = this.outputs.find((made) => made.state === "running" || made.state === "queued");
      return open ? `${Math.floor(100 * open.progress)} %` : "";
    },
  },
  async created() {
    this.known = new Map();
    try {
      this.kept = await ask("/api/moments");
      if (!this.name && this.names.length) this.name = this.names[0].name;
      if (this.moments.length) await this.go(0);
    } catch (error) {
      this.trouble = error.message;
    }
  },
  methods: {
    ...saving,
    acts() {
      return { next: () => this.go(Math.min(this.at + 1, this.moments.length - 1)), previous: () => this.go(Math.max(0, this.at - 1)), again: () => this.go(this.at) };
    },
    async matchOf(id) {
      if (!this.known.has(id)) {
        const url = `/api/matches/${id}`;
        const [review, clock] = await Promise.all([ask(url), Clock.load(`${url}/clock`)]);
        const track = review.track ? new TrackReader(review.track) : null;
        if (track) track.swaps = review.swaps;
        this.known.set(id, { review: Object.freeze(review), clock: Object.freeze(clock), track });
      }
      return this.known.get(id);
    },
    /** To the start of a moment; it plays on where footage was playing. */
    async go(index) {
      const goesOn = this.playing || this.goesOn;
      this.goesOn = false;
      this.at = index;
      const { review, clock, track } = await this.matchOf(this.moments[index].match_id);
      [this.match, this.clock, this.track] = [review, clock, track];
      await this.$nextTick();
      this.$refs.stage.goToTime(this.now.start_s);
      if (goesOn && !this.playing) this.$refs.stage.toggle();
    },
    onFrame(frame) {
      this.frame = frame;
      if (!this.playing || frame.time_s < this.now.end_s) return;
      this.$refs.stage.pause();
      this.goesOn = this.at + 1 < this.moments.length;
      if (this.goesOn) this.go(this.at + 1);
    },
    async forget(moment) {
      await ask(`/api/moments/${moment.id}`, undefined, "DELETE");
      this.kept = this.kept.filter((one) => one.id !== moment.id);
      if (this.at >= this.moments.length && this.moments.length) this.go(this.moments.length - 1);
    },
    async film() {
      try {
        this.watch(await ask("/api/sets/film", { name: this.name, skeletons: this.shown.A || this.shown.B, hide_faces: this.hideFaces }));
      } catch (error) {
        this.trouble = error.message;
      }
    },
  },
};
