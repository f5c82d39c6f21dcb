// A native dialog: it keeps the focus inside, closes on Escape, and gives the focus back.

let made = 0; // one window can ask over another

/** @type {import("../vendor/vue.js").Component} */
export const Window = {
  name: "PlainWindow",
  props: { heading: { type: String, required: true }, wide: { type: Boolean, default: false }, steady: { type: Boolean, default: false } },
  inject: { room: { default: null } }, // the page, which says what was refused
  emits: ["close"],
  template: `
    <dialog ref="dialog" class="window" :class="{wide}" :aria-labelledby="headingId" @close="$emit('close')" @click="onClick">
      <div class="window-inner">
        <header><h2 :id="headingId">{{ heading }}</h2>
          <button type="button" class="quiet" aria-label="Close" @click="$refs.dialog.close()">Close <kbd>Esc</kbd></button></header>
        <slot></slot>
        <p v-if="room?.trouble" class="problem" role="alert">{{ room.trouble }}</p>
      </div>
    </dialog>`,
  data() {
    made += 1;
    return { headingId: `window-heading-${made}` };
  },
  mounted() {
    this.$refs.dialog.showModal();
    this.$nextTick(() => this.$refs.dialog.querySelector("[data-first]")?.focus());
  },
  methods: {
    onClick(event) {
      if (event.target === this.$refs.dialog && !this.steady) this.$refs.dialog.close();
    },
  },
};
