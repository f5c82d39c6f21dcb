// Puts the component that a page names into its place, with what the server gave it.

import { createApp } from "./vendor/vue.js";

const place = /** @type {HTMLElement} */ (document.getElementById("room"));
const { default: Room } = await import(/** @type {string} */ (place.dataset.component));
createApp(Room, JSON.parse(place.dataset.given ?? "{}")).mount(place);
