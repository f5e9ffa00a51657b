/* The batch being put together, kept in this browser and shared by the views.

   A draft has the shape of a compare request, with null where nothing was given; `bearable` holds the sentence about
   loss, `hold` what only a hold asks, `forecast_text` the forecasts as pasted. */

import { addDays, settings } from "/page/settings.js";

const KEY = "transit.batch";
const WHOLE = ["origin", "destination", "ship_date", "seller", "seller_kind", "damaged_value_share"];
const GROUPS = ["packing", "costs", "recourse", "paperwork"];

export const emptyLine = () => ({ genus: null, cultivar: null, quantity: null, unit_cost: null, sale_value: null });

export function emptyDraft() {
  return {
    origin: null,
    destination: settings().home,
    ship_date: addDays(7),
    seller: null,
    seller_kind: null,
    packing: { container: "foam_box", roots: "damp_wrap" },
    lines: [emptyLine()],
    costs: {},
    recourse: {},
    damaged_value_share: null,
    bearable: { lost: 1, of: 4, sure: 8 },
    paperwork: {},
    routes: [
      { name: "courier", service: "courier", freight: null },
      { name: "air cargo", service: "air_cargo", freight: null },
    ],
    forecast: {},
    closed_dates: [],
    open_dates: [],
    hold: { earliest: addDays(1), latest: addDays(15) },
  };
}

let current = read();

function read() {
  try {
    return { ...emptyDraft(), ...JSON.parse(localStorage.getItem(KEY) ?? "{}") };
  } catch {
    return emptyDraft();
  }
}

export const draft = () => current;

let before = null;

/* The draft that another took the place of since the page was loaded, if any. */
export const draftBefore = () => before;

/* Put another draft in the place of this one, which can be brought back. */
export function takeDraft(other) {
  before = current.origin || current.lines.some((line) => !isBlank(line)) ? current : null;
  keep(other);
}

/* Keep the draft as it is now, or another in its place; not over one of another tab before it is said which is meant. */
export function keep(other = current) {
  current = other;
  if (!changedElsewhere) localStorage.setItem(KEY, JSON.stringify(current));
}

/* The event of the document when another tab changed the draft that is kept. */
export const ELSEWHERE = "draft-elsewhere";
let changedElsewhere = false;
export const isChangedElsewhere = () => changedElsewhere;

addEventListener("storage", ({ key, newValue }) => {
  if (key !== KEY || newValue === null || newValue === JSON.stringify(current)) return;
  changedElsewhere = true;
  document.dispatchEvent(new Event(ELSEWHERE));
});

/* Take the draft of the other tab; the one here can be brought back. */
export function takeOtherDraft() {
  takeDraft(read());
  changedElsewhere = false;
}

/* Keep the draft here over that of the other tab. */
export function keepThisDraft() {
  changedElsewhere = false;
  keep();
}

/* The value of a JSON pointer in the draft, undefined where there is none. */
export const valueAt = (pointer) =>
  pointer
    .slice(1)
    .split("/")
    .reduce((part, key) => part?.[key], current);

/* Set the value of a pointer and keep the draft. */
export function setAt(pointer, value) {
  const keys = pointer.slice(1).split("/");
  const last = keys.pop();
  const parent = keys.reduce((part, key) => (part[key] ??= {}), current);
  parent[last] = value;
  keep();
}

const given = (part) =>
  Object.fromEntries(Object.entries(part).filter(([, value]) => value !== null && value !== undefined && value !== ""));
const isBlank = (line) => Object.keys(given(line)).length === 0;

/* What is still needed before the server can answer, as [{pointer, text}]. */
export function missing(batch = current) {
  const wanted = [];
  const want = (pointer, text, value) => {
    if (value === null || value === undefined || value === "") wanted.push({ pointer, text });
  };
  want("/origin", "where the box leaves", batch.origin);
  want("/destination", "where it goes", batch.destination);
  want("/ship_date", "the day it leaves", batch.ship_date);
  const filled = batch.lines.some((line) => !isBlank(line));
  batch.lines.forEach((line, i) => {
    if (filled && isBlank(line)) return;
    const which = batch.lines.length > 1 ? ` of line ${i + 1}` : "";
    want(`/lines/${i}/genus`, `the genus${which}`, line.genus);
    want(`/lines/${i}/quantity`, `how many plants${which}`, line.quantity);
    want(`/lines/${i}/unit_cost`, `what one costs${which}`, line.unit_cost);
    want(`/lines/${i}/sale_value`, `what you sell one for${which}`, line.sale_value);
  });
  if (batch.routes.every((route) => route.freight === null || route.freight === undefined))
    want("/routes/0/freight", "freight of at least one route", null);
  return wanted;
}

/* How sure one can be asked to be, in 10: nothing is certain. */
export const SUREST = 9.99;

/* What to say where more is asked for; "" where it is not. */
export const surestWords = (sure) =>
  sure > SUREST && sure <= 10 ? `Nothing is certain: answered for ${SUREST} in 10, the most there is.` : "";

/* What to say where all of the plants may die: then nothing is ruled out; "" where not all may. */
export const allMayDie = ({ lost, of }) =>
  typeof lost === "number" && lost > 0 && lost === of ? "Every plant may die then: no way is ruled out by its loss." : "";

/* A share of two numbers; what is no number goes to the server as it is, what is not given is left out. */
function share(part, whole) {
  if (typeof part === "string" || typeof whole === "string") return typeof part === "string" ? part : whole;
  return part === null || !whole ? null : part / whole;
}

/* What in the sentence about the loss cannot be meant, as [{pointer, message}]. */
export function bearableFaults({ bearable: { lost, of, sure } } = current) {
  const faults = [];
  const wrong = (pointer, message) => faults.push({ pointer, message });
  if (typeof of === "number" && !(of > 0)) wrong("/risk/max_loss_share", "of how many plants? at least 1");
  else if (typeof lost === "number" && typeof of === "number" && (lost < 0 || lost > of))
    wrong("/bearable/lost", `from 0 to ${of}, the plants it is taken from`);
  if (typeof sure === "number" && sure > 10) wrong("/risk/confidence", "at most 10 times in 10");
  if (typeof sure === "number" && sure < 5) wrong("/risk/confidence", "at least 5 in 10: as likely as not");
  return faults;
}

/* The compare request of the draft, as {body, place}: blank lines and routes without freight are left out, and
   `place(pointer)` turns a pointer into the body into one into the draft.

   `only` is the index of the one route to take, else all. */
export function requestOf(batch = current, { only } = {}) {
  const rows = batch.lines.map((line, i) => [line, i]).filter(([line]) => !isBlank(line));
  const routes = batch.routes
    .map((route, i) => [route, i])
    .filter(([route, i]) => (only === undefined ? (route.freight ?? "") !== "" : i === only));
  const body = given(Object.fromEntries(WHOLE.map((name) => [name, batch[name]])));
  body.currency = settings().currency;
  body.lines = rows.map(([line]) => given(line));
  body.routes = routes.map(([route]) => {
    const own = given(route);
    if (own.transit_days) own.transit_days = given(own.transit_days);
    if (own.transit_days && Object.keys(own.transit_days).length === 0) delete own.transit_days;
    return own;
  });
  for (const name of GROUPS) {
    const own = given(batch[name]);
    if (Object.keys(own).length) body[name] = own;
  }
  const { lost, of, sure } = batch.bearable;
  body.risk = given({ max_loss_share: share(lost, of), confidence: share(sure > SUREST && sure <= 10 ? SUREST : sure, 10) });
  const known = Object.entries(batch.forecast).filter(
    ([code, rowsOf]) => rowsOf.length && (code === batch.origin || code === batch.destination),
  );
  if (known.length) body.forecast = Object.fromEntries(known);
  for (const days of ["closed_dates", "open_dates"]) if (batch[days]?.length) body[days] = batch[days];
  const back = { lines: rows.map(([, i]) => i), routes: routes.map(([, i]) => i) };
  return {
    body,
    routes: back.routes,
    place: (pointer) => pointer.replace(/^\/(lines|routes)\/(\d+)/, (_, list, i) => `/${list}/${back[list][i]}`),
  };
}

/* A batch of the invented shop of data/demo to try the page with; prices invented. */
export function inventedDraft() {
  return {
    ...emptyDraft(),
    origin: "SRG",
    destination: "GLA",
    packing: { container: "foam_box", roots: "damp_wrap", heat_pack_hours: 72, heat_packs: 1 },
    lines: [
      { genus: "Aglaonema", cultivar: null, quantity: 18, unit_cost: 8, sale_value: 31 },
      { genus: "Hoya", cultivar: null, quantity: 14, unit_cost: 12, sale_value: 42 },
      { genus: "Alocasia", cultivar: null, quantity: 10, unit_cost: 10, sale_value: 38 },
      { genus: "Begonia", cultivar: null, quantity: 8, unit_cost: 6, sale_value: 22 },
    ],
    recourse: { kind: "refund" },
    routes: [
      { name: "courier", service: "courier", freight: 135, handling: 28 },
      { name: "air cargo", service: "air_cargo", freight: 288, collection: 36 },
    ],
  };
}
