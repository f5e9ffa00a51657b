/* The parts of the form about the batch, in the order of Compare; and the fold that holds them under another question. */

import { el } from "/page/dom.js";
import { forecastFields } from "/page/form_hold.js";
import { journeyFields } from "/page/form_journey.js";
import { lineFields } from "/page/form_lines.js";
import { bearableFields, moneyFields, packingFields, routeFields, sellerFields } from "/page/form_terms.js";

/* What a view asks for by itself it leaves out here: the `day` it leaves, the `lines` of plants, the `forecast`. */
export async function batchFields(changed, { day = true, lines = true, forecast = true } = {}) {
  return [
    await journeyFields(changed, { day }),
    lines ? await lineFields(changed) : null,
    await routeFields(changed),
    bearableFields(changed),
    await packingFields(changed),
    moneyFields(changed),
    sellerFields(changed),
    forecast ? forecastFields(changed) : null,
  ];
}

export async function batchFold(changed, { open, ...parts }) {
  return el(
    "details",
    { class: "folded", open },
    el("summary", {}, "The batch, as under Compare", el("span", { class: "taken" })),
    await batchFields(changed, parts),
  );
}
