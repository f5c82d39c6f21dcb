// Athletes renamed, merged or given a team, in every match at once.

import { ask } from "../common/server.js";

const form = /** @type {HTMLFormElement} */ (document.getElementById("athletes"));
const problem = /** @type {HTMLElement} */ (document.getElementById("problem"));

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const given = new FormData(form);
  const text = (/** @type {string} */ name) => String(given.get(name) ?? "").trim();
  try {
    await ask("/api/athletes/change", { names: given.getAll("names"), name: text("name"), team: text("team") || null });
    window.location.reload();
  } catch (error) {
    problem.textContent = error instanceof Error ? error.message : String(error);
  }
});
