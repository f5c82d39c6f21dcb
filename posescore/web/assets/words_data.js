// The words of the language, as the server has them: loaded once, before anything is shown.

import { ask } from "posescore-room/server.js";

export const WORDS = await ask("/api/words");
