// What the page asks of the server. A refusal comes back as one sentence.

export class Refusal extends Error {
  /**
   * @param {string} sentence
   * @param {any} [changed] what somebody else changed meanwhile: by, did, before, now, last_entry_id
   */
  constructor(sentence, changed = null) {
    super(sentence);
    this.changed = changed;
  }
}

/**
 * @param {string} url
 * @param {object} [body] sent as JSON
 * @param {string} [method]
 * @returns {Promise<any>} what the server answered
 */
export async function ask(url, body, method = body === undefined ? "GET" : "POST") {
  const settings = body === undefined
    ? { method }
    : { method, headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) };
  let response;
  try {
    response = await fetch(url, settings);
  } catch {
    throw new Refusal("PoseScore does not answer. Is it still running?");
  }
  const answer = await response.json().catch(() => null);
  if (!response.ok) throw new Refusal(sentence(answer?.error ?? `The server answered ${response.status}.`), answer?.changed);
  return answer;
}

const FIELD = /^[a-z][a-z_]*(?:\.[a-z0-9_]+)*: /;

/**
 * A refusal for people: the name of the field, which programs ask for, is left out.
 * @param {string} text
 */
export function sentence(text) {
  const bare = text.replace(FIELD, "");
  return bare.charAt(0).toUpperCase() + bare.slice(1);
}
