/* What it would be worth to know something before ordering: folded, asked for when it is opened. */

import { el } from "/page/dom.js";
import { answered } from "/page/live.js";
import { failure } from "/page/notices.js";
import { tableOf } from "/page/plot.js";
import { money, percent, said } from "/page/settings.js";

/* What moves the margin by less is told among the rest. */
const LEAST_SHARE = 0.05;
const TITLE = "What it would be worth to know";

function worthOf(found) {
  const shown = (amount) => money(amount, found.currency, { whole: amount >= 1 });
  if (found.clear) return `about ${shown(found.worth)} ± ${shown(found.standard_error)}`;
  return found.changed_share ? "not told from nothing" : "nothing";
}

/* What has a worth or moves the margin stands in the table; the rest is told where it is said how it is counted. */
function drawn(answer) {
  const shown = answer.known.filter((one) => one.clear || one.spread_share >= LEAST_SHARE);
  const learned = answer.learned.filter((one) => one.clear);
  const rest = [...answer.learned, ...answer.known].filter((one) => !learned.includes(one) && !shown.includes(one));
  return [
    el("p", {}, el("strong", {}, said(answer.lead))),
    learned.length ? el("ul", {}, learned.map((one) => el("li", {}, said(one.text)))) : null,
    shown.length
      ? tableOf({
          head: ["To know before ordering", "Worth now", "Moves the margin"],
          rows: shown.map((one) => [one.name, worthOf(one), percent(one.spread_share)]),
        })
      : null,
    el("p", {}, said(answer.moves)),
    el(
      "details",
      { class: "numbers" },
      el("summary", {}, "How this is counted"),
      [...answer.notes, "Behind ± stands the standard error."].map((text) => el("p", { class: "hint" }, said(text))),
      rest.length ? el("ul", { class: "hint" }, rest.map((one) => el("li", {}, said(one.text)))) : null,
    ),
  ].filter(Boolean);
}

/* The folded part for the batch in `body`; its call is aborted by `signal`. */
export function worthKnowing(body, { signal }) {
  const slot = el("div", {}, el("p", { class: "hint" }, "Working it out …"));
  const fold = el("details", { class: "folded" }, el("summary", {}, TITLE), slot);
  let isAsked = false;
  fold.addEventListener("toggle", async () => {
    if (!fold.open || isAsked) return;
    isAsked = true;
    const { rules_beside: _beside, ...asked } = body;
    try {
      slot.replaceChildren(...drawn(await answered("/v1/worth-knowing", asked, signal)));
    } catch (fault) {
      if (fault.name !== "AbortError") slot.replaceChildren(failure(fault));
    }
  });
  return el("section", { class: "worth-knowing", "aria-label": TITLE }, fold);
}
