/* What is to be done about boxes, the most pressing first: counts to send, claims, boxes that are late, rechecks. */

import { call } from "/page/api.js";
import { address, boxName, path } from "/page/boxes/words.js";
import { download, el } from "/page/dom.js";
import { failure } from "/page/notices.js";
import { addDays, date, moment, today } from "/page/settings.js";

const HOUR_MS = 3_600_000;
const DAY_HOURS = 24;
const RECHECK_OPEN_DAYS = 45;
const CLAIM_OPEN_DAYS = 14;
const DAY = { weekday: "short", day: "numeric", month: "short" };
const TIMED = { ...DAY, hour: "2-digit", minute: "2-digit" };
const WAITING = {
  waiting: "the counts on this device are not sent yet; they go as soon as the server can be reached",
  conflict: "the counts on this device differ from what another recorded: choose",
  refused: "the server refused the counts on this device: correct them",
};

/* Whether it is time to count again; after some weeks a count says little of the journey. */
export const isRecheckDue = ({ recheck_due: due, recheck_on: on }) =>
  Boolean(due && on && addDays(RECHECK_OPEN_DAYS, on) >= today());

/* Hours until a claim must have been made, negative once that is over; null where nothing is to be claimed. */
const hoursLeft = ({ claim_until: until }) => (until ? (new Date(until).getTime() - Date.now()) / HOUR_MS : null);

/* Whether a claim is open: its window, or the days after it in which a late claim may still be heard. */
export const isClaimOpen = (item) => {
  const hours = hoursLeft(item);
  return hours !== null && hours > -CLAIM_OPEN_DAYS * DAY_HOURS;
};

/* "Claim by Sun, 28 Nov, 10:00" or "Seller's claim window over since Sun, 28 Nov" */
export function claimWords(item) {
  const hours = hoursLeft(item);
  if (hours < 0) return `Claim window over since ${moment(item.claim_until, DAY)}`;
  return `Claim by ${moment(item.claim_until, TIMED)}${hours < 2 * DAY_HOURS ? `, in ${Math.max(1, Math.round(hours))} h` : ""}`;
}

export const lateWords = ({ late_since: since }) => `Late since ${moment(since, DAY)}`;
export const recheckWords = ({ recheck_on: on }) => `Count again, due since ${date(on, DAY)}`;

/* {item, part, what, why, urgency} of each thing to do about boxes; `waiting` are counts kept on this device. */
function tasks(items, waiting) {
  const known = new Map(items.map((item) => [item.id, item]));
  const unsent = waiting.map((entry) => ({
    item: known.get(entry.id) ?? { id: entry.id, reference: entry.name, lines: [] },
    part: entry.state === "conflict" ? ["conflict", entry.kind] : [entry.kind],
    what: entry.kind === "arrival" ? "Counts not sent" : "Recheck not sent",
    why: WAITING[entry.state] ?? WAITING.waiting,
    urgency: entry.state === "waiting" ? -1 : -2,
  }));
  const of = (chosen, make) => items.filter(chosen).map((item) => ({ item, part: [], ...make(item) }));
  return [
    ...unsent,
    ...of(isClaimOpen, (item) => ({
      part: ["claim"],
      what: claimWords(item),
      why: hoursLeft(item) < 0 ? "record how it ended; if you have not written yet, do, and look at the carrier's days" : "dead or missing plants, nothing recorded of a claim",
      urgency: hoursLeft(item) < 0 ? 1e4 : Math.max(0, hoursLeft(item)),
    })),
    ...of(
      (item) => item.late_since && !item.outcome_missing,
      (item) => ({ what: lateWords(item), why: "ask where it is, and record what you hear", urgency: 100 }),
    ),
    ...of(isRecheckDue, (item) => ({
      part: ["recheck"],
      what: recheckWords(item),
      why: "injury by cold shows late",
      urgency: 200 + (Date.parse(item.recheck_on) - Date.parse(today())) / (DAY_HOURS * HOUR_MS),
    })),
    ...of(
      (item) => item.outcome_missing,
      () => ({
        what: "Arrived or lost?",
        why: "it should have left more than 30 days ago: without the boxes that were lost, the chances look better than they are",
        urgency: 300,
      }),
    ),
  ].sort((one, other) => one.urgency - other.urgency);
}

/* The list of what is to be done, "" where there is nothing; `connected` where the server can be asked for a file. */
export function toDo(items, waiting, { signal, connected }) {
  const due = tasks(items, waiting);
  const dated = items.some((item) => item.state === "arrived" && (isClaimOpen(item) || isRecheckAhead(item)));
  if (!due.length && !dated) return "";
  return el(
    "section",
    { class: "to-do", "aria-labelledby": "due-now" },
    el("h2", { id: "due-now" }, "To do"),
    due.length
      ? el(
          "ul",
          {},
          due.map(({ item, part, what, why }) =>
            el(
              "li",
              {},
              el("strong", {}, what),
              el("a", { href: address(item.id, ...part) }, boxName(item)),
              el("span", { class: "hint" }, `${why.charAt(0).toUpperCase()}${why.slice(1)}.`),
            ),
          ),
        )
      : el("p", { class: "hint" }, "Nothing today."),
    connected && dated ? calendarButton("/v1/shipments/calendar", "boxes", signal) : null,
  );
}

/* Whether a box is to be counted again, now or later. */
const isRecheckAhead = ({ recheck_on: on, recheck_due: due }) => Boolean(on && (due || on > today()));

/* A button that gives out a calendar file with the dates of all boxes, or of one (`calendarOf`). */
function calendarButton(from, name, signal) {
  const place = el("div");
  async function give() {
    try {
      const { data } = await call("GET", from, { signal, headers: { Accept: "text/calendar, application/problem+json" } });
      download(`${name}.ics`, data, "text/calendar");
    } catch (fault) {
      if (!signal.aborted) place.replaceChildren(failure(fault));
    }
  }
  return el(
    "div",
    { class: "actions" },
    el("button", { type: "button", on: { click: give } }, "Dates as a calendar file"),
    place,
  );
}

export const calendarOf = (id, name, signal) => calendarButton(path(id, "calendar"), name, signal);
