/* Boxes in words. */

import { count, date } from "/page/settings.js";

export const STATE_WORDS = { planned: "planned", in_transit: "on its way", arrived: "arrived", lost: "lost" };
export const EVENT_WORDS = {
  departed: "left",
  at_hub: "at a hub",
  in_clearance: "in clearance",
  held: "held up",
  released: "released",
  lost: "lost",
};
export const CLAIM_WORDS = { refunded: "refunded", replaced: "replaced", refused: "refused" };
const SHORT_DATE = { day: "numeric", month: "short" };

export const plantName = ({ genus, cultivar }) => (cultivar ? `${genus} ${cultivar}` : genus);

/* "18 Aglaonema, 14 Hoya and 2 more lines" */
export function plantsOf(lines, most = 2) {
  const named = lines.map((line) => `${count(line.quantity ?? line.sent ?? 0)} ${plantName(line)}`);
  if (named.length <= most) return named.join(", ");
  return `${named.slice(0, most).join(", ")} and ${count(named.length - most)} more`;
}

/* The reader's name of a box, else its plants and day. */
export const boxName = ({ reference, lines, ship_date: day }) =>
  reference ?? `${plantsOf(lines, 1)}${day ? `, ${date(day, SHORT_DATE)}` : ""}`;

export const wayOf = ({ origin, destination, service }) =>
  `${origin} to ${destination}, ${(service ?? "").replace("_", " ")}`;
export const address = (id, ...more) => `#boxes/${[encodeURIComponent(id), ...more].join("/")}`;
export const path = (id, ...more) => `/v1/shipments/${[encodeURIComponent(id), ...more].join("/")}`;
