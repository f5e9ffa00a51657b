/* The times of a box: when it left, by the plan or now, and all of them corrected; a step taken back. */

import { changeForm } from "/page/boxes/change_form.js";
import { el } from "/page/dom.js";
import { field } from "/page/fields.js";
import { count, date, moment, today } from "/page/settings.js";
import { aheadFaults, momentInput, nowTyped, toMoment, toTyped } from "/page/times.js";

const DAY_MS = 86_400_000;
const HALF_A_YEAR = 183;
/* Later than planned happens, and much earlier hardly. */
const FAR_DAYS = { before: 7, after: 30 };
/* When a box is usually closed, on the day that was planned. */
const CLOSED_AT = "T08:00";
const NAMES = { departed_at: "Left on", arrived_at: "Delivered", opened_at: "Opened" };
const YOUR_TIME = "When the closed box was handed over; your own time.";

/* What is said at a time of another step, where both do not fit each other. */
export const orCorrect = (recorded) => `On record: ${moment(recorded)}. Correct it if it is the one that is wrong.`;

/* A question where a departure is far from the day that was planned, as from a year mistyped; else null. */
function farFromPlan(typed, planned) {
  if (!typed || !planned) return null;
  const off = Math.round((new Date(`${typed.slice(0, 10)}T12:00`) - new Date(`${planned}T12:00`)) / DAY_MS);
  if (-FAR_DAYS.before <= off && off <= FAR_DAYS.after) return null;
  return `That is ${count(Math.abs(off))} days ${off < 0 ? "before" : "after"} the planned date: ${Math.abs(off) > HALF_A_YEAR ? "is the year right?" : "is the date right?"}`;
}

/* A moment put in by a button: it stands in the field, where it can still be changed. */
function offered(words, typed, input, set) {
  return el(
    "button",
    {
      type: "button",
      class: "small",
      on: {
        click: () => {
          input.value = typed();
          set(input.value);
          input.focus();
        },
      },
    },
    words,
  );
}

/* Nothing is taken for granted but on the very day that was planned. */
export function departureForm({ plan }, change) {
  const planned = plan?.ship_date ?? null;
  const form = { departed_at: planned === today() ? nowTyped() : null };
  const set = (value) => (form.departed_at = value);
  const input = momentInput(form.departed_at, set);
  const choices = [
    planned && planned < today() ? offered(`As planned, ${date(planned)}`, () => planned + CLOSED_AT, input, set) : null,
    planned === today() ? null : offered("Now", nowTyped, input, set),
  ].filter(Boolean);
  return changeForm(
    "It has left",
    true,
    [
      field("Left on", input, { pointer: "/departed_at", hint: YOUR_TIME }),
      choices.length ? el("div", { class: "actions", role: "group", "aria-label": "When it left" }, choices) : null,
    ],
    () => change({ departed_at: toMoment(form.departed_at) }, "Marked as on its way."),
    {
      check: () => {
        if (!form.departed_at) return { errors: [{ pointer: "/departed_at", message: "say when it left" }] };
        const errors = aheadFaults(form, ["departed_at"]);
        return { errors, question: farFromPlan(form.departed_at, planned) };
      },
    },
  );
}

/* All times on record of a box that has left, each to be corrected; what is left as it is is not sent. */
export function timesForm({ departed_at: departed, arrival, plan }, change) {
  const onRecord = {
    departed_at: departed,
    ...(arrival ? { arrived_at: arrival.arrived_at, opened_at: arrival.opened_at } : {}),
  };
  const names = Object.keys(onRecord);
  const before = Object.fromEntries(names.map((name) => [name, onRecord[name] ? toTyped(onRecord[name]) : null]));
  const form = { ...before };
  const changed = () => names.filter((name) => form[name] && form[name] !== before[name]);
  return el(
    "details",
    {},
    el("summary", {}, names.length > 1 ? "Correct the times" : "Correct when it left"),
    changeForm(
      "Correct",
      false,
      names.map((name) =>
        field(
          NAMES[name],
          momentInput(form[name], (value) => (form[name] = value)),
          { pointer: `/${name}`, hint: onRecord[name] ? `On record: ${moment(onRecord[name])}.` : "Only its day is on record." },
        ),
      ),
      () => change(Object.fromEntries(changed().map((name) => [name, toMoment(form[name])])), "Corrected."),
      {
        check: () => {
          const what = changed();
          if (!what.length) return { errors: [{ pointer: `/${names[0]}`, message: "nothing is changed yet" }] };
          const question = what.includes("departed_at") ? farFromPlan(form.departed_at, plan?.ship_date) : null;
          return { errors: aheadFaults(form, names), question };
        },
      },
    ),
  );
}

const STEPS = {
  departure: ["It has not left after all", "back to planned; what was heard of it on its way goes too", "Planned again."],
  event: ["Take the last news back", "as if it had not been heard", "Taken back."],
  arrival: ["It has not arrived after all", "its counts, notes and logger are taken back", "Taken back: not arrived."],
  recheck: ["Take the recheck back", "as if the plants had not been counted again", "The recheck is taken back."],
  claim: ["Take the outcome back", "the claim is open again", "The claim is open again."],
};

/* The step of a box that was recorded last, which alone can be taken back; null without one. */
function lastStep({ plan, departed_at: departed, events, arrival, recheck, claim }) {
  if (claim) return "claim";
  if (recheck) return "recheck";
  if (arrival) return plan ? "arrival" : null;
  if (events.some(({ kind }) => kind !== "departed")) return "event";
  return departed ? "departure" : null;
}

/* A button that takes the last step back, after a question. */
export function takeBackPart(shipment, takeBack) {
  const step = lastStep(shipment);
  if (!step) return null;
  const [words, follows, done] = STEPS[step];
  return el(
    "details",
    {},
    el("summary", {}, "Recorded by mistake?"),
    el("p", {}, `${words}: ${follows}. The record before is kept.`),
    changeForm(words, false, [], () => takeBack(step, done)),
  );
}
