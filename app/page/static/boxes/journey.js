/* The journey of a box: its departure and what was heard of it. */

import { EVENT_WORDS } from "/page/boxes/words.js";
import { el } from "/page/dom.js";
import { choice, clearErrors, field, showErrors, textInput } from "/page/fields.js";
import { failure } from "/page/notices.js";
import { moment } from "/page/settings.js";
import { momentInput, nowTyped, toMoment } from "/page/times.js";

export function journeySection(shipment, change) {
  const { state, departed_at: departed, events } = shipment;
  const open = state === "planned" || state === "in_transit" || state === "lost";
  if (!open && !departed && !events.length) return "";
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
            .filter(({ kind, at }) => kind !== "departed" || at !== departed)
            .map(({ at, kind, note }) =>
              el("li", {}, `${moment(at)}: ${EVENT_WORDS[kind] ?? kind}${note ? `, ${note}` : ""}`),
            ),
        )
      : null,
    departed ? null : departureForm(change),
    open && departed ? newsForm(change) : null,
  );
}

function departureForm(change) {
  let at = nowTyped();
  return changeForm(
    "It has left",
    true,
    [
      field(
        "Left on",
        momentInput(at, (value) => (at = value)),
        { pointer: "/departed_at", hint: "When the closed box was handed over; your own time." },
      ),
    ],
    () => change({ departed_at: toMoment(at) }, "Marked as on its way."),
  );
}

function newsForm(change) {
  const kinds = Object.entries(EVENT_WORDS).filter(([kind]) => kind !== "departed");
  const news = { at: nowTyped(), kind: kinds[0][0], note: null };
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
      ],
      () => change({ events: [{ at: toMoment(news.at), kind: news.kind, note: news.note ?? "" }] }, "Added."),
    ),
  );
}

/* A small form that sends one change; its fields are within `fields`. */
export function changeForm(words, main, fields, send) {
  const place = el("div");
  const button = el("button", { type: "submit", class: main ? "main" : null }, words);
  const form = el(
    "form",
    { on: { submit } },
    el("div", { class: "fields" }, fields),
    place,
    el("div", { class: "actions" }, button),
  );
  async function submit(event) {
    event.preventDefault();
    button.disabled = true;
    place.replaceChildren();
    clearErrors(form);
    try {
      await send();
    } catch (fault) {
      if (fault.name !== "AbortError")
        place.replaceChildren(failure(fault, null, showErrors(form, fault.errors ?? [])));
    }
    button.disabled = false;
  }
  return form;
}
