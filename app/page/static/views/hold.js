/* Hold: ship now, or wait for a better day? */

import { answerParts, asking } from "/page/asking.js";
import { missing, requestOf } from "/page/batch.js";
import { planWords } from "/page/boxes/change.js";
import { actList, checklist } from "/page/cautions.js";
import { alsoAssumed, keepOpen, restOf, showLeftOut } from "/page/comparison.js";
import { el, replace } from "/page/dom.js";
import { batchFold } from "/page/form_batch.js";
import { forecastFields, holdBody, holdFields } from "/page/form_hold.js";
import { DAY, holdStrip, scaleOf } from "/page/hold_strip.js";
import { sayInForce } from "/page/in_force.js";
import { count, said, today } from "/page/settings.js";

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
  return { path: "/v1/hold", body: { ...rest, ...own, today: today(), draws: DRAWS }, place, wanted };
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
  const batch = await batchFold(changed, { open: ask().wanted.length > 0, day: false, forecast: false });
  sayInForce(batch, batchInForce);
  return [holdFields(changed), forecastFields(changed), batch];
}

/* "SRG to GLA, 30 plants, by courier or air cargo" */
function batchInForce() {
  const { body } = requestOf();
  const sent = body.lines.reduce((sum, row) => sum + (typeof row.quantity === "number" ? row.quantity : 0), 0);
  return [
    body.origin && body.destination ? `${body.origin} to ${body.destination}` : null,
    sent ? `${count(sent)} plants` : null,
    body.routes.length ? `by ${body.routes.map((route) => route.name).join(" or ")}` : null,
  ]
    .filter(Boolean)
    .join(", ");
}

function drawAnswer({ data, body, answer, form }) {
  const lead = said(data.lead, DAY);
  const { routes: asked, place } = requestOf();
  const left = showLeftOut(form, data, place);
  const sent = body.lines.reduce((sum, row) => sum + row.quantity, 0);
  const best = data.recommended;
  const chosen = best && data.dates.find((entry) => entry.route === best.route && entry.ship_date === best.ship_date);
  const scale = scaleOf(data.dates);
  const more = restOf(data, DAY);
  replace(
    answer,
    ...answerParts(
      [
        el("h2", { class: "lead", tabindex: "-1" }, lead),
        more ? el("p", {}, more) : null,
        actList(data.cautions),
      ],
      [
        body.routes.map((route, i) =>
          holdStrip(
            route.name,
            data.dates.filter((entry) => entry.route === route.name),
            {
              sent,
              currency: body.currency,
              chosen,
              scale,
              plan: (entry) => `#boxes/plan/${asked[i]}/${entry.ship_date}`,
              planWords: planWords("Plan this date"),
            },
          ),
        ),
        checklist(data.cautions),
        alsoAssumed(left),
      ],
    ),
  );
  keepOpen(answer);
  return lead;
}
