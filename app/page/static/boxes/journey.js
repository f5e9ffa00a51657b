/* The journey of a box: its departure and what was heard of it. */

import { changeForm } from "/page/boxes/change_form.js";
import { departureForm, orCorrect, takeBackPart, timesForm } from "/page/boxes/times.js";
import { EVENT_WORDS } from "/page/boxes/words.js";
import { el } from "/page/dom.js";
import { choice, field, textInput } from "/page/fields.js";
import { moment } from "/page/settings.js";
import { momentInput, nowTyped, toMoment, toTyped } from "/page/times.js";

/* `change` sends news, `takeBack(step, words)` the step that was recorded by mistake. */
export function journeySection(shipment, change, takeBack) {
  const { state, departed_at: departed, events } = shipment;
  const open = state === "planned" || state === "in_transit" || state === "lost";
  return el(
    "section",
    { "aria-labelledby": "journey" },
    el("h2", { id: "journey" }, "Journey"),
    departed || events.length
      ? el(
          "ol",
          { class: "journey" },
          departed ? el("li", {}, `${moment(departed)}: left`) : null,
          events
            .filter(({ kind }) => kind !== "departed" || !departed)
            .map(({ at, kind, note }) =>
              el("li", {}, `${moment(at)}: ${EVENT_WORDS[kind] ?? kind}${note ? `, ${note}` : ""}`),
            ),
        )
      : null,
    open && !departed ? departureForm(shipment, change) : null,
    open && departed ? newsForm(departed, change) : null,
    open && !departed ? null : timesForm(shipment, change),
    takeBackPart(shipment, takeBack),
  );
}

/* Where the news are refused for their time, the departure stands there to be corrected with them. */
function newsForm(departed, change) {
  const kinds = Object.entries(EVENT_WORDS).filter(([kind]) => kind !== "departed");
  const news = { at: nowTyped(), kind: kinds[0][0], note: null };
  const recorded = toTyped(departed);
  let left = recorded;
  const departure = field(
    "Left on",
    momentInput(left, (value) => (left = value)),
    { pointer: "/departed_at", hint: orCorrect(departed) },
  );
  departure.hidden = true;
  return el(
    "details",
    {},
    el("summary", {}, "News of the box"),
    changeForm(
      "Add",
      false,
      [
        field(
          "What",
          choice(news.kind, kinds, (value) => (news.kind = value)),
          { pointer: "/events/0/kind" },
        ),
        field(
          "When",
          momentInput(news.at, (value) => (news.at = value)),
          { pointer: "/events/0/at" },
        ),
        field(
          "Note",
          textInput(null, (value) => (news.note = value), { maxlength: 120 }),
          { pointer: "/events/0/note" },
        ),
        departure,
      ],
      () => {
        const events = [{ at: toMoment(news.at), kind: news.kind, note: news.note ?? "" }];
        const corrected = left && left !== recorded ? { departed_at: toMoment(left) } : {};
        return change({ events, ...corrected }, "Added.");
      },
      {
        refused: (errors) => {
          if (errors.some(({ pointer }) => pointer === "/events/0/at")) departure.hidden = false;
        },
      },
    ),
  );
}
