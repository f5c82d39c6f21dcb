// The words of the language, as the server has them: loaded once, before anything is shown.

import { ask } from "./server.js";

export const WORDS = await ask("/api/words");
