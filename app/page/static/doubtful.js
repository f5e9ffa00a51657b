/* Records that look wrong: said with the likeliest slip, until they are confirmed or corrected. */

import { call } from "/page/api.js";
import { address, path } from "/page/boxes/words.js";
import { el } from "/page/dom.js";
import { failure } from "/page/notices.js";
import { boxesOf } from "/page/plural.js";
import { said } from "/page/settings.js";

const SHOWN = 4;

/* Confirm the record of a box as it is, and return the answer; `etag` is that of the record that was shown. */
export async function confirmRecord(id, etag, signal) {
  return call("PUT", path(id, "confirm"), { headers: { "If-Match": etag }, signal });
}

const what = ({ genus, column }) => (genus ? `${genus}, ${column}` : column);

/* The doubts of one box, with what to do; `confirm()` says that the record is right. */
export function boxDoubts(doubts, id, confirm) {
  if (!doubts?.length) return "";
  const place = el("div");
  async function right() {
    try {
      await confirm();
    } catch (fault) {
      place.replaceChildren(failure(fault));
    }
  }
  return el(
    "section",
    { class: "notice", "aria-labelledby": "doubtful" },
    el("h2", { id: "doubtful" }, "Is this right?"),
    el(
      "ul",
      {},
      doubts.map((doubt) => el("li", {}, el("strong", {}, `${what(doubt)}: `), said(doubt.text))),
    ),
    el(
      "div",
      { class: "actions" },
      el("button", { type: "button", on: { click: right } }, "The record is right"),
      el("a", { class: "button", href: address(id, "arrival") }, "Correct it"),
    ),
    place,
  );
}

/* All doubts of the ledger, box by box, those after the first few folded; `changed()` hears that one was settled. */
export function doubtList(doubts, signal, changed) {
  if (!doubts.length) return el("p", {}, "No record of the ledger looks wrong.");
  const place = el("div");
  const boxes = Map.groupBy
    ? Map.groupBy(doubts, ({ id }) => id)
    : doubts.reduce((all, doubt) => all.set(doubt.id, [...(all.get(doubt.id) ?? []), doubt]), new Map());

  async function right(id) {
    try {
      const { headers } = await call("GET", path(id), { signal });
      await confirmRecord(id, headers.get("etag"), signal);
      await changed();
    } catch (fault) {
      if (!signal.aborted) place.replaceChildren(failure(fault));
    }
  }

  const shown = [...boxes].map(([id, own]) => ofBox(id, own));
  return el(
    "div",
    {},
    el("p", {}, "These records do not fit the other boxes, or their journeys. They are used as they stand, but times in transit are not learned from times that look wrong."),
    el("ul", { class: "doubts" }, shown.slice(0, SHOWN)),
    shown.length > SHOWN
      ? el(
          "details",
          {},
          el("summary", {}, `${boxesOf(shown.length - SHOWN)} more`),
          el("ul", { class: "doubts" }, shown.slice(SHOWN)),
        )
      : null,
    place,
  );

  function ofBox(id, own) {
    return el(
      "li",
      {},
      el("a", { href: address(id) }, own[0].shipment),
      own.map((doubt) => el("p", {}, el("strong", {}, `${what(doubt)}: `), said(doubt.text))),
      el(
        "button",
        {
          type: "button",
          class: "small",
          "aria-label": `The record of ${own[0].shipment} is right`,
          on: { click: () => right(id) },
        },
        "It is right",
      ),
    );
  }
}
