// The pages' scripts as the tests load them, with a server that knows a few words.

const WORDS = {
  kinds: { near: { trade: "advantage" }, penalty: { trade: "penalty" }, mount: { plain: "Mounted", trade: "mount" }, takedown: { plain: "Brought the opponent down", trade: "takedown" } },
  positions: {
    mount: { plain: "sitting on the torso", trade: "mount" },
    back_control: { plain: "behind", trade: "back control", upper: "behind" },
    standing: { plain: "both on their feet", trade: "standing" },
  },
  events: { tap: { text: "Gives up (tap)" } },
  statuses: {},
  short: { advantage: "adv", penalty: "pen" },
  nobody: "nobody",
  parts: { knees: "the knees", feet: "the feet" },
  findings: { cut: "The camera changes its view", possible_swap: "A and B may be swapped here" },
  without_upper: ["standing"],
  dismissing: { reasons: [] },
  on_top: "on top",
  confidence: [{ from: 0.9, text: "very sure" }, { from: 0.5, text: "not very sure" }, { from: 0, text: "unsure" }],
};

/** What the server answers by address; bytes for an ArrayBuffer. */
export const answers = new Map([["/api/words", WORDS]]);

globalThis.fetch = async (url) => {
  const found = answers.get(url);
  return { ok: found !== undefined, status: found === undefined ? 404 : 200, json: async () => found, arrayBuffer: async () => found };
};

/** A script of the pages by its path in the folder of assets. */
export const load = (path) => import(new URL(`../../posescore/web/assets/${path}`, import.meta.url));
