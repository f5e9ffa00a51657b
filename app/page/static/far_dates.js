/* Days of departure that are hardly meant, as from a year mistyped: asked about, never refused. */

import { count, today } from "/page/settings.js";

const DAY_MS = 86_400_000;
const MOST_AHEAD = 366;

/* The question about a day on which a box is to leave: one that is over, or more than a year ahead; "" about any other. */
export function departureQuestion(day, on = today()) {
  if (!day) return "";
  const off = Math.round((Date.parse(day) - Date.parse(on)) / DAY_MS);
  if (off < 0) return `It is to leave on a day that is over, ${off === -1 ? "yesterday" : `${count(-off)} days ago`}: is the date right?`;
  return off > MOST_AHEAD ? `It is to leave in ${count(off)} days: is the year right?` : "";
}
