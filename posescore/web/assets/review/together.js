// Several people at one match: what others do shows as it comes, an edit of what changed meanwhile asks first,
// and the history of the match, from which any entry can be taken back.

import { clockText } from "../common/clock.js";
import { ask } from "../common/server.js";
import { Window } from "../common/windows.js";
import { WORDS } from "../common/words_data.js";

/** So long a hand still answers what it saw before the line changed under it. */
const HAND_MS = 1500;
/** Windows that are filled in while the page goes on. */
const FILLED_IN = new Set(["change", "add", "dismiss", "name", "mark", "result"]);

/**
 * @param {string} text
 * @param {{[name: string]: string}} fields
 */
export function filled(text, fields) {
  return text.replace(/\{(\w+)\}/g, (whole, name) => fields[name] ?? whole);
}

/**
 * What a line says, to see whether somebody changed it.
 * @param {any} proposal
 */
function wordOf(proposal) {
  const { decision, decided_award, still_proposed, kind, athlete, points, advantage } = proposal;
  return JSON.stringify([decision, decided_award, still_proposed, kind, athlete, points, advantage]);
}

const fieldsOf = () => /** @type {HTMLInputElement[]} */ ([...document.querySelectorAll("dialog input, dialog select")]);
const isTicked = (field) => field.type === "radio" || field.type === "checkbox";

/** What is typed and chosen in the window that is open, field by field. */
export function typedFields() {
  return fieldsOf().map((field) => (isTicked(field) ? field.checked : field.value));
}

/**
 * Put it back where it was.
 * @param {(string | boolean)[]} typed
 */
export function fillFields(typed) {
  fieldsOf().forEach((field, i) => {
    if (typed[i] === undefined) return;
    if (isTicked(field)) {
      if (!typed[i]) return;
      field.checked = true;
    } else field.value = String(typed[i]);
    for (const kind of ["input", "change"]) field.dispatchEvent(new Event(kind, { bubbles: true }));
  });
}

/** @type {import("../vendor/vue.js").Component} */
export const together = {
  /** Hear of others while the page is looked at; a page behind another takes none of the browser's connections. */
  listen() {
    this.hush();
    if (document.hidden || !this.review) return;
    const asked = new URLSearchParams({ opinion: this.opinion, after: String(this.review.last_entry_id) });
    this.news_source = new EventSource(`${this.url}/news?${asked}`);
    this.news_source.onmessage = (event) => this.hear(JSON.parse(event.data));
    this.news_source.onerror = () => { this.lost = true; };
    this.news_source.onopen = () => {
      if (!this.lost) return;
      this.lost = false;
      this.trouble = "";
      this.refresh();
    };
  },
  hush() {
    this.news_source?.close();
  },
  seenAgain() {
    if (document.hidden) return this.hush();
    return this.refresh().then(() => this.listen());
  },
  /** One piece of news: an own edit is known already, and what comes during one waits for its end. */
  async hear(news) {
    if (this.saving) {
      this.heard = news;
      return;
    }
    if (news.last_entry_id <= this.review.last_entry_id) return;
    await this.refresh();
    this.news = filled(WORDS.history.news, { who: news.author, words: news.words });
    this.say(this.news);
  },
  hearLate() {
    const news = this.heard;
    this.heard = null;
    if (news) this.hear(news);
  },
  /** The match as it stands now; what changed under a hand is remembered for a moment. */
  async refresh() {
    try {
      const asked = new URLSearchParams({ opinion: this.opinion, author: this.me() });
      const now = await ask(`${this.url}?${asked}`);
      if (this.saving || now.last_entry_id < this.review.last_entry_id) return;
      const before = new Map(this.review.proposals.map((one) => [one.id, wordOf(one)]));
      const until = performance.now() + HAND_MS;
      for (const one of now.proposals) {
        if (before.get(one.id) !== wordOf(one)) this.lately.set(one.id, { seen: this.review.last_entry_id, until });
      }
      this.take(now);
    } catch {
      // The next news, or the next edit, says what is wrong.
    }
  },
  /** The entry up to which a person had seen what an edit is about. */
  seenBy(edit) {
    if (FILLED_IN.has(this.open)) return this.shownAt;
    const late = this.lately.get(edit.proposal);
    return late && performance.now() < late.until ? late.seen : this.review.last_entry_id;
  },
  /** Both sides; true where the person's own edit is to be done all the same. */
  whichStands(changed) {
    return new Promise((resolve) => { this.meanwhile = { ...changed, answer: resolve }; });
  },
  answerMeanwhile(mine) {
    const asked = this.meanwhile;
    this.meanwhile = null;
    asked?.answer(mine);
  },
  async openHistory() {
    this.show("history");
    this.happened = null;
    await this.olderHistory();
  },
  async olderHistory() {
    try {
      const asked = new URLSearchParams({ opinion: this.opinion, ...(this.happened?.older ? { before: this.happened.older } : {}) });
      const found = await ask(`${this.url}/history?${asked}`);
      this.happened = { entries: [...(this.happened?.entries ?? []), ...found.entries], older: found.older };
    } catch (error) {
      this.trouble = error.message;
    }
  },
  /** Take back or put back an entry of the history. */
  async turnEntry(entry) {
    if (!this.mayEdit()) return;
    const [step, words] = entry.in_force ? ["take-back", WORDS.history.undo] : ["put-back", WORDS.history.redo];
    const done = await this.send(`${this.url}/history/${entry.id}/${step}`, {}, () => `${filled(words, { what: entry.what, who: entry.author })}.`);
    if (!done) return;
    this.happened = null;
    await this.olderHistory();
  },
};

/** @type {import("../vendor/vue.js").Component} */
export const HistoryWindow = {
  name: "HistoryWindow",
  components: { Window },
  props: {
    happened: { type: Object, default: null }, // entries, older
    busy: { type: Boolean, default: false },
    locked: { type: Boolean, default: false },
  },
  emits: ["close", "turn", "older", "seek"],
  template: `
    <Window :heading="words.shows" wide @close="$emit('close')">
      <ol v-if="happened" class="history" :aria-label="words.shows">
        <li v-for="entry in rows" :key="entry.id" :class="{undone: entry.in_force === false}">
          <p><b>{{ entry.author }}</b> <time class="num soft" :datetime="entry.made_at">{{ entry.when }}</time>
            <button v-if="entry.time_s !== null" type="button" class="quiet num" @click="$emit('seek', entry.time_s)">{{ text(entry.time_s) }}</button></p>
          <p class="history-what">{{ entry.what }} <span v-if="entry.taken" class="soft">{{ entry.taken }}</span></p>
          <dl><div><dt>{{ words.before }}</dt><dd>{{ entry.before }}</dd></div><div><dt>{{ words.after }}</dt><dd>{{ entry.after }}</dd></div></dl>
          <button v-if="entry.in_force !== null && !locked" type="button" :disabled="busy" :aria-label="entry.turn + ': ' + entry.what + ', ' + entry.author" @click="$emit('turn', entry)">{{ entry.turn }}</button>
        </li>
        <li v-if="!rows.length" class="empty">{{ words.empty }}</li>
      </ol>
      <button v-if="happened?.older" type="button" @click="$emit('older')">{{ words.older }}</button>
      <p class="fine">{{ words.undo_elsewhere }}</p>
    </Window>`,
  computed: {
    words() {
      return WORDS.history;
    },
    rows() {
      return this.happened.entries.map((entry) => ({
        ...entry,
        when: new Date(entry.made_at).toLocaleString("en-GB", { dateStyle: "short", timeStyle: "medium" }),
        turn: entry.in_force ? WORDS.history.take_back : WORDS.history.put_back,
        taken: entry.taken_back_by && filled(WORDS.history.taken_back_by, { who: entry.taken_back_by }),
      }));
    },
  },
  methods: { text: clockText },
};

/** @type {import("../vendor/vue.js").Component} */
export const MeanwhileWindow = {
  name: "MeanwhileWindow",
  components: { Window },
  props: { changed: { type: Object, required: true } }, // by, did, before, now
  emits: ["answer"],
  template: `
    <Window :heading="words.heading" steady @close="$emit('answer', false)">
      <p>{{ who }}</p>
      <dl class="both-sides"><div><dt>{{ words.before }}</dt><dd>{{ changed.before }}</dd></div>
        <div><dt>{{ words.now }}</dt><dd>{{ changed.now }}</dd></div></dl>
      <div class="acts"><button type="button" data-first @click="$emit('answer', false)">{{ words.theirs }}</button>
        <button type="button" class="primary" @click="$emit('answer', true)">{{ words.mine }}</button></div>
    </Window>`,
  computed: {
    words() {
      return WORDS.meanwhile;
    },
    who() {
      return filled(WORDS.meanwhile.who, { who: this.changed.by, did: this.changed.did });
    },
  },
};
