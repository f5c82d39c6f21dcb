// A native dialog: it keeps the focus inside, closes on Escape, and gives the focus back.

let made = 0; // one window can ask over another
const PROSE_LETTERS = 100;

/** @type {import("../vendor/vue.js").Component} */
export const Window = {
  name: "PlainWindow",
  props: { heading: { type: String, required: true }, wide: { type: Boolean, default: false }, steady: { type: Boolean, default: false } },
  inject: { room: { default: null } }, // the page, which says what was refused
  emits: ["close"],
  template: `
    <dialog ref="dialog" class="window" :class="{wide}" :aria-labelledby="headingId" @close="$emit('close')" @click="onClick" @input="onInput" @cancel="onCancel">
      <div class="window-inner">
        <header><h2 :id="headingId">{{ heading }}</h2>
          <button type="button" class="quiet" aria-label="Close" @click="$refs.dialog.close()">Close <kbd>Esc</kbd></button></header>
        <slot></slot>
        <p v-if="warned" class="problem" role="alert">What you typed here is not saved. Esc once more drops it.</p>
        <p v-if="room?.trouble" class="problem" role="alert">{{ room.trouble }}</p>
      </div>
    </dialog>`,
  data() {
    made += 1;
    return { headingId: `window-heading-${made}`, typed: false, warned: false };
  },
  mounted() {
    this.$refs.dialog.showModal();
    this.$nextTick(() => this.$refs.dialog.querySelector("[data-first]")?.focus());
  },
  methods: {
    onClick(event) {
      if (event.target === this.$refs.dialog && !this.steady && !this.kept()) this.$refs.dialog.close();
    },
    /** Prose has been written: a field for it says how long it may be. */
    onInput(event) {
      if (event.target.maxLength >= PROSE_LETTERS) this.typed = event.target.value.trim() !== "";
    },
    onCancel(event) {
      if (this.kept()) event.preventDefault();
    },
    /** True, once, where closing would drop what was typed; what is steady keeps its own draft. */
    kept() {
      if (!this.typed || this.warned || this.steady) return false;
      this.warned = true;
      return true;
    },
  },
};
