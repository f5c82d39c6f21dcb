// The windows of one match in the list: its details, and deleting it.

import { AthleteFields, EventFields } from "./fields.js";
import { many, sizeText } from "./words.js";
import { ask } from "../common/server.js";
import { Window } from "../common/windows.js";

/** @type {import("../vendor/vue.js").Component} */
export const DetailsWindow = {
  name: "DetailsWindow",
  components: { AthleteFields, EventFields, Window },
  props: { row: { type: Object, required: true }, choices: { type: Object, required: true }, draft: { type: Object, default: null } },
  emits: ["close", "saved", "analyse"],
  template: `
    <Window :heading="'Details of ' + row.title" wide steady @close="$emit('close', isChanged ? details : null)">
      <form @submit.prevent="save">
        <p v-if="draft && isChanged" class="draft" role="note">What you wrote before is here, and not saved yet. <button type="button" class="quiet" @click="drop">Drop it</button></p>
        <label class="field">Title <input type="text" v-model="details.title" maxlength="200" data-first required></label>
        <athlete-fields :details="details" :choices="choices" :label="row.title"></athlete-fields>
        <event-fields :details="details" :choices="choices"></event-fields>
        <label class="field">Note <input type="text" v-model="details.note" maxlength="2000"></label>
        <p v-if="row.source" class="hint path-line">Footage: {{ row.source.path }}{{ row.source.copied ? ' (copied into the library)' : '' }}</p>
        <p class="problem" role="alert">{{ problem }}</p>
        <div class="acts">
          <button type="submit" class="primary" :disabled="saving">Save <kbd>Enter</kbd></button>
          <span class="grow"></span>
          <template v-if="again"><label class="choice"><input type="checkbox" v-model="everyFrame"> Every frame (slower, finer)</label>
            <button type="button" :disabled="saving" @click="saveAndAnalyse">{{ isChanged ? 'Save and analyse again' : 'Analyse again' }}</button></template></div>
        <p v-if="again" class="hint">Analysing again keeps everything that people said. A gi colour given here helps to tell the athletes apart then.</p>
      </form>
    </Window>`,
  data() {
    return { details: this.draft ?? detailsOf(this.row), everyFrame: false, saving: false, problem: "" };
  },
  computed: {
    isChanged() {
      return JSON.stringify(this.details) !== JSON.stringify(detailsOf(this.row));
    },
    again() {
      return this.row.source?.there && !["waiting", "analysing"].includes(this.row.stage);
    },
  },
  methods: {
    async save() {
      const saved = await this.send();
      if (saved) this.$emit("saved", saved);
    },
    async saveAndAnalyse() {
      const saved = this.isChanged ? await this.send() : this.row;
      if (saved) this.$emit("analyse", saved, this.everyFrame);
    },
    /** The row as it was saved; null where it was refused. */
    async send() {
      this.saving = true;
      this.problem = "";
      try {
        const held_on = this.details.held_on || null;
        return await ask(`/api/matches/${this.row.id}`, { ...this.details, held_on, author: keptAuthor() }, "PATCH");
      } catch (error) {
        this.problem = `Not saved: ${error.message}`;
        return null;
      } finally {
        this.saving = false;
      }
    },
    drop() {
      this.details = detailsOf(this.row);
    },
  },
};

function detailsOf(row) {
  const { title, event, mat, held_on, division, rules, note } = row;
  const copy = ({ name, gi_colour, belt, team }) => ({ name, gi_colour, belt, team });
  return {
    title, event, mat, held_on, division: division && { ...division }, rules, note,
    athlete_a: copy(row.athletes.A), athlete_b: copy(row.athletes.B),
  };
}

function keptAuthor() {
  try {
    return localStorage.getItem("posescore.author") ?? "";
  } catch {
    return "";
  }
}

/** @type {import("../vendor/vue.js").Component} */
export const DeleteWindow = {
  name: "DeleteWindow",
  components: { Window },
  props: { row: { type: Object, required: true } },
  emits: ["close", "deleted"],
  template: `
    <Window :heading="'Delete ' + row.title + '?'" @close="$emit('close')">
      <form @submit.prevent="remove">
        <template v-if="goes">
          <p>This goes for good, and cannot be undone:</p>
          <ul class="goes"><li v-for="line in lines" :key="line">{{ line }}</li></ul>
          <p v-if="goes.stays">Your own footage stays where it is: <span class="path-line">{{ goes.stays }}</span></p>
        </template>
        <p class="problem" role="alert">{{ problem }}</p>
        <div class="acts"><button type="submit" class="primary danger" :disabled="!goes || deleting">{{ deleting ? 'Deleting' : 'Delete for good' }}</button>
          <button type="button" data-first @click="$emit('close')">Keep it</button></div>
      </form>
    </Window>`,
  data() {
    return { goes: null, deleting: false, problem: "" };
  },
  computed: {
    lines() {
      const { analyses, edits, made_bytes, copied, running } = this.goes;
      return [
        "the match with its names and details",
        analyses && `${many(analyses, "analysis", "analyses")} with keypoints, positions and pictures (${sizeText(made_bytes)})`,
        edits && `everything people decided: ${many(edits, "entry", "entries")} in the log`,
        running && "the analysis that waits or runs: it is stopped",
        copied && `the copy of the footage in the library: ${copied.split(/[\\/\\\\]/).pop()}`,
      ].filter(Boolean);
    },
  },
  async created() {
    try {
      this.goes = await ask(`/api/matches/${this.row.id}/deletion-preview`);
    } catch (error) {
      this.problem = error.message;
    }
  },
  methods: {
    async remove() {
      this.deleting = true;
      try {
        await ask(`/api/matches/${this.row.id}`, undefined, "DELETE");
        this.$emit("deleted", this.row);
      } catch (error) {
        this.problem = `Not deleted: ${error.message}`;
      } finally {
        this.deleting = false;
      }
    },
  },
};

/**
 * One action for several matches: an event, or deleting them.
 * @type {import("../vendor/vue.js").Component}
 */
export const TogetherWindow = {
  name: "TogetherWindow",
  components: { Window },
  props: { rows: { type: Array, required: true }, deletes: { type: Boolean, required: true }, events: { type: Array, required: true } },
  emits: ["close", "move", "remove"],
  template: `
    <Window :heading="deletes ? 'Delete these matches?' : 'One event for these matches'" @close="$emit('close')">
      <form @submit.prevent="deletes ? $emit('remove') : $emit('move', event.trim())">
        <p v-if="deletes">They go for good with everything made from them and decided on them; this cannot be undone. Your own footage stays where it is.</p>
        <ul class="goes"><li v-for="row in rows" :key="row.id">{{ row.title }}</li></ul>
        <label v-if="!deletes" class="field">Event <input type="text" v-model="event" maxlength="200" list="their-events" data-first autocomplete="off"></label>
        <datalist id="their-events"><option v-for="name in events" :key="name" :value="name"></option></datalist>
        <div class="acts"><button type="submit" class="primary" :class="{danger: deletes}">{{ deletes ? 'Delete for good' : 'Save' }}</button>
          <button v-if="deletes" type="button" data-first @click="$emit('close')">Keep them</button></div>
      </form>
    </Window>`,
  data() {
    return { event: "" };
  },
};
