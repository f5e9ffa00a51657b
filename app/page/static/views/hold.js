/* Hold: ship now, or wait for a better day? */

import { asking } from "/page/asking.js";
import { missing, requestOf } from "/page/batch.js";
import { el, replace } from "/page/dom.js";
import { showAssumed } from "/page/fields.js";
import { forecastFields, holdBody, holdFields } from "/page/form_hold.js";
import { journeyFields } from "/page/form_journey.js";
import { lineFields } from "/page/form_lines.js";
import { bearableFields, moneyFields, packingFields, routeFields, sellerFields } from "/page/form_terms.js";
import { assumedText, keepOpen } from "/page/comparison.js";
import { holdStrip } from "/page/hold_strip.js";
import { cautionList } from "/page/notices.js";
import { count, date, money, percent, said } from "/page/settings.js";

export const title = "Hold";
const DRAWS = 1024; // a strip of many days; the mean of one day moves by less than half a plant

function ask() {
  const { body, place } = requestOf();
  const { ship_date: _unused, ...rest } = body;
  const wanted = missing().filter(({ pointer }) => pointer !== "/ship_date");
  const own = holdBody();
  for (const [name, text] of [
    ["earliest", "the first day that comes into question"],
    ["latest", "the last day"],
  ])
    if (!own[name]) wanted.push({ pointer: `/${name}`, text });
  return { path: "/v1/hold", body: { ...rest, ...own, draws: DRAWS }, place, wanted };
}

export async function show(root, _parts, signal) {
  await asking({
    root,
    signal,
    heading: title,
    sentence: "Ship now, or wait for a better day? The batch is the one under Compare.",
    ask,
    draw: drawAnswer,
    fields,
  });
}

async function fields(changed) {
  return [
    holdFields(changed),
    forecastFields(changed),
    el(
      "details",
      { class: "folded", open: ask().wanted.length > 0 },
      el("summary", {}, "The batch, as under Compare", el("span", { class: "count" })),
      await journeyFields(changed, { day: false }),
      await lineFields(changed),
      await routeFields(changed),
      bearableFields(changed),
      await packingFields(changed),
      moneyFields(changed),
      sellerFields(changed),
    ),
  ];
}

/* The answer in one sentence. */
function leadOf(data) {
  if (!data.recommended) return said(data.reason).replace(/(?<=[.]) .*/s, "");
  const { ship_date: day, route } = data.recommended;
  const own = data.dates.filter((entry) => entry.route === route && entry.blocked_by.length === 0);
  const best = own.find((entry) => entry.ship_date === day);
  const first = own[0];
  if (best === first) return `Ship on ${date(day)} by ${route}: waiting promises no more.`;
  return (
    `Hold until ${date(day)} and ship by ${route}: the chance that waiting beats ${date(first.ship_date)} is ` +
    `${percent(best.chance_better_than_first ?? 0)}.`
  );
}

function drawAnswer({ data, body, answer, form }) {
  const lead = leadOf(data);
  const { place } = requestOf();
  const left = showAssumed(
    form,
    data.assumed.map((one) => ({ pointer: place(one.pointer), text: assumedText(one) })),
  );
  const sent = body.lines.reduce((sum, row) => sum + row.quantity, 0);
  const best = data.recommended;
  const chosen = best && data.dates.find((entry) => entry.route === best.route && entry.ship_date === best.ship_date);
  replace(
    answer,
    el("h2", { class: "lead", tabindex: "-1" }, lead),
    chosen
      ? el(
          "p",
          {},
          `${count(chosen.healthy.mean)} of ${count(sent)} plants healthy at unboxing on average, ` +
            `${count(chosen.healthy.p05)} to ${count(chosen.healthy.p95)} in 9 of 10 shipments; margin about ` +
            `${money(chosen.margin.mean, body.currency)}.`,
        )
      : null,
    body.routes.map((route) =>
      holdStrip(
        route.name,
        data.dates.filter((entry) => entry.route === route.name),
        { sent, currency: body.currency, chosen },
      ),
    ),
    el("section", { "aria-label": "Why" }, el("h2", {}, "Why"), el("p", {}, said(data.reason))),
    el(
      "section",
      { "aria-label": "What to mind" },
      el("h2", {}, "What to mind"),
      cautionList(data.cautions, { said, date }),
    ),
    left.length
      ? el(
          "details",
          { class: "numbers" },
          el("summary", {}, `Also assumed (${left.length})`),
          el("ul", {}, left.map(({ pointer, text }) => el("li", {}, `${pointer}: ${text}`))),
        )
      : null,
  );
  keepOpen(answer);
  return lead;
}
