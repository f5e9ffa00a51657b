/* The batch of Compare within the form of another question, folded once it is complete. */

import { el } from "/page/dom.js";
import { forecastFields } from "/page/form_hold.js";
import { journeyFields } from "/page/form_journey.js";
import { lineFields } from "/page/form_lines.js";
import { bearableFields, moneyFields, packingFields, routeFields, sellerFields } from "/page/form_terms.js";

/* `lines` is false where the view shows the plants itself. */
export async function batchParts(changed, { open, lines = true }) {
  return el(
    "details",
    { class: "folded", open },
    el("summary", {}, "The batch, as under Compare", el("span", { class: "count" })),
    await journeyFields(changed),
    lines ? await lineFields(changed) : null,
    await routeFields(changed),
    bearableFields(changed),
    await packingFields(changed),
    moneyFields(changed),
    sellerFields(changed),
    forecastFields(changed),
  );
}
