/* Compare: courier or air cargo for this batch? */

import { emptyDraft, inventedDraft, keep } from "/page/batch.js";
import { drawComparison } from "/page/comparison.js";
import { el } from "/page/dom.js";
import { forecastFields } from "/page/form_hold.js";
import { journeyFields } from "/page/form_journey.js";
import { lineFields } from "/page/form_lines.js";
import { bearableFields, moneyFields, packingFields, routeFields, sellerFields } from "/page/form_terms.js";
import { genera } from "/page/lists.js";
import { batchCall, jumpTo, live } from "/page/live.js";
import { showAgain } from "/page/settings.js";

export const title = "Compare";

export async function show(root, _parts, signal) {
  const form = el("form", { class: "asking", autocomplete: "off", on: { submit: (event) => event.preventDefault() } });
  const answer = el("div", { class: "answer" });
  const jump = jumpTo(answer);
  const known = await genera();
  const { changed, update } = live({
    form,
    answer,
    jump,
    signal,
    ask: () => batchCall("/v1/compare", { rules_beside: true }),
    draw: (data, body, own) => drawComparison({ data, body, answer, form, known, own }),
  });
  const start = (other) => {
    keep(other);
    showAgain();
  };
  form.append(
    el(
      "div",
      { class: "actions" },
      el("button", { type: "button", on: { click: () => start(inventedDraft()) } }, "Try an invented batch"),
      el("button", { type: "button", on: { click: () => start(emptyDraft()) } }, "Start empty"),
    ),
    await journeyFields(changed),
    await lineFields(changed),
    await routeFields(changed),
    bearableFields(changed),
    await packingFields(changed),
    moneyFields(changed),
    sellerFields(changed),
    forecastFields(changed),
  );
  if (signal.aborted) return;
  root.append(el("h1", {}, "Compare"),
    el("p", {}, "Which way should this batch travel? Fill in what you know; the answer follows every change."),
    el("div", { class: "two" }, form, answer), jump.link);
  await update();
}
