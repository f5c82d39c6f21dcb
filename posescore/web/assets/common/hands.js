// What a hand does on the footage: the wheel and two fingers enlarge it, a finger or the mouse moves what is enlarged.

import { moved, zoomed } from "./closer.js";

const A_NOTCH = 1.0015; // to the power of what the wheel turned
const DRAG_PX = 4; // less is a press

/** @typedef {import("./closer.js").View} View */

export class Hands {
  /**
   * @param {HTMLElement} place
   * @param {{view: () => View, look: (view: View) => void, press: () => void}} page
   */
  constructor(place, page) {
    this.place = place;
    this.page = page;
    /** @type {Map<number, {x: number, y: number}>} */
    this.down = new Map();
    this.dragged = false;
    place.addEventListener("wheel", (event) => this.onWheel(event), { passive: false });
    place.addEventListener("pointerdown", (event) => this.onDown(event));
    place.addEventListener("pointermove", (event) => this.onMove(event));
    for (const end of /** @type {const} */ (["pointerup", "pointercancel"])) place.addEventListener(end, (event) => this.onUp(event));
  }

  /** @param {{clientX: number, clientY: number}} event */
  at(event) {
    const box = this.place.getBoundingClientRect();
    return { x: (event.clientX - box.left) / box.width, y: (event.clientY - box.top) / box.height };
  }

  /** @param {WheelEvent} event */
  onWheel(event) {
    const view = this.page.view();
    if (view.times <= 1 && event.deltaY > 0) return; // the page scrolls on
    event.preventDefault();
    const { x, y } = this.at(event);
    const turned = event.deltaY * (event.ctrlKey ? 5 : 1) * (event.deltaMode ? 30 : 1);
    this.page.look(zoomed(view, A_NOTCH ** -turned, x, y));
  }

  /** @param {PointerEvent} event */
  onDown(event) {
    if (event.button !== 0) return;
    if (!this.down.size) this.dragged = false;
    this.down.set(event.pointerId, this.at(event));
    this.start = this.at(event);
  }

  /** @param {PointerEvent} event */
  onMove(event) {
    const before = this.down.get(event.pointerId);
    if (!before) return;
    const now = this.at(event);
    const other = [...this.down].find(([id]) => id !== event.pointerId)?.[1];
    const view = this.page.view();
    if (other) {
      this.dragged = true;
      const apart = (/** @type {{x: number, y: number}} */ one) => Math.hypot(one.x - other.x, one.y - other.y);
      this.page.look(zoomed(view, apart(now) / Math.max(0.01, apart(before)), (now.x + other.x) / 2, (now.y + other.y) / 2));
    } else if (view.times > 1) {
      const box = this.place.getBoundingClientRect();
      const far = this.start ? Math.hypot((now.x - this.start.x) * box.width, (now.y - this.start.y) * box.height) : 0;
      if (far > DRAG_PX && !this.dragged) {
        this.dragged = true;
        this.place.setPointerCapture(event.pointerId);
      }
      if (this.dragged) this.page.look(moved(view, now.x - before.x, now.y - before.y));
    }
    this.down.set(event.pointerId, now);
  }

  /** @param {PointerEvent} event */
  onUp(event) {
    const pressed = this.down.delete(event.pointerId) && !this.dragged && event.type === "pointerup";
    if (pressed && !this.down.size) this.page.press();
  }
}
