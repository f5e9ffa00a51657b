/* Numbers with their noun. */

import { count } from "/page/settings.js";

/* "1 box", "2 boxes" */
export const many = (n, one, more = `${one}s`) => `${count(n)} ${n === 1 ? one : more}`;
export const boxesOf = (n) => many(n, "box", "boxes");
