/* What this browser keeps of boxes, so that a box can be counted without a connection: the boxes last seen, counts
   being entered, and counts that wait to be sent. In localStorage: small, and written before a tap is answered. */

import { Problem } from "/page/api.js";

const BOXES = "transit.boxes";
const WAITING = "transit.waiting";
const ENTERED = "transit.entered.";

const NO_ROOM = 507;

export class NoRoom extends Problem {
  constructor() {
    super(NO_ROOM, {
      detail: "This browser has no room to keep that, or may keep nothing. Write it down, and make room.",
    });
  }
}

function read(key) {
  try {
    return JSON.parse(localStorage.getItem(key) ?? "null");
  } catch {
    return null;
  }
}

function write(key, value) {
  try {
    localStorage.setItem(key, JSON.stringify(value));
  } catch {
    throw new NoRoom();
  }
}

/* Boxes last seen, as items of the list of shipments, by id. */
export const knownBoxes = () => read(BOXES)?.items ?? {};
export const knownAt = () => read(BOXES)?.at ?? null;

/* Keep the boxes of the lists just read in place of all others. */
export function keepBoxes(items) {
  try {
    write(BOXES, { at: new Date().toISOString(), items: Object.fromEntries(items.map((item) => [item.id, item])) });
  } catch {
    localStorage.removeItem(BOXES); // only a convenience: the server has them
  }
}

/* Keep one box as the server just told it, with its ETag. */
export function keepBox(shipment, etag) {
  const { plan, arrival } = shipment;
  const before = knownBoxes()[shipment.id] ?? {};
  const ordered = (plan?.lines ?? []).map((line, i) => ({
    line: i,
    genus: line.genus,
    cultivar: line.cultivar,
    quantity: line.quantity,
  }));
  const item = {
    seller: plan?.seller ?? null,
    service: plan?.routes[0].service,
    origin: plan?.origin,
    destination: plan?.destination,
    ship_date: plan?.ship_date,
    recheck_due: false,
    ...before,
    id: shipment.id,
    reference: shipment.reference,
    state: shipment.state,
    departed_at: shipment.departed_at,
    arrival_date: arrival?.arrival_date ?? null,
    lines: arrival?.lines ?? before.lines ?? ordered,
    etag,
  };
  keepBoxes([...Object.values(knownBoxes()).filter(({ id }) => id !== item.id), item]);
}

export const forgetBox = (id) => keepBoxes(Object.values(knownBoxes()).filter((item) => item.id !== id));

/* What is being entered in the form `kind` ("arrival" or "recheck") of a box. */
export const entered = (id, kind) => read(`${ENTERED}${kind}.${id}`);
export const keepEntered = (id, kind, form) => write(`${ENTERED}${kind}.${id}`, form);
export const forgetEntered = (id, kind) => localStorage.removeItem(`${ENTERED}${kind}.${id}`);

/* What waits to be sent, at most one for each form: {id, kind, name, body, form, etag, saved_at, token, state}, where
   state is "waiting", "conflict" (with `theirs` and `their_etag`) or "refused" (with `problem`). */
export const waiting = () => Object.values(read(WAITING) ?? {});
export const waitingFor = (id, kind) => (read(WAITING) ?? {})[`${id}/${kind}`] ?? null;

/* The form of what waits, for the version of the box that it is meant for now. */
export const formKept = (entry) => (entry ? { ...entry.form, etag: entry.etag } : null);

export function keepWaiting(entry) {
  write(WAITING, { ...read(WAITING), [`${entry.id}/${entry.kind}`]: entry });
  document.dispatchEvent(new Event("waiting-changed"));
}

export function forgetWaiting({ id, kind }) {
  const rest = { ...read(WAITING) };
  delete rest[`${id}/${kind}`];
  write(WAITING, rest);
  document.dispatchEvent(new Event("waiting-changed"));
}

addEventListener("storage", (event) => {
  if (event.key === WAITING) document.dispatchEvent(new Event("waiting-changed"));
});
