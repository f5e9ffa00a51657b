/* What an answer rests on: rules of thumb, or also the own record, told apart. */

import { post } from "/page/api.js";
import { el } from "/page/dom.js";
import { failure } from "/page/notices.js";
import { ENOUGH_BOXES } from "/page/look_back/time_ratios.js";
import { tableOf } from "/page/plot.js";
import { count, isWide, money, percent } from "/page/settings.js";
import { spread } from "/page/outcome.js";
import { stacked } from "/page/stacked.js";
import { strip, stripTable } from "/page/strip.js";

/* The most days that POST /v1/risk takes. */
const LONGEST_DAYS = 90;

const isRules = (answer) => answer.model_version.startsWith("rules-");

/* One risk query a line, for the route at `index`: the evidence does not hang on the temperature. */
function queries(body, answer, index) {
  const packing = Object.fromEntries(
    ["container", "roots", "heat_pack_hours", "heat_packs", "cold_packs"]
      .filter((name) => body.packing?.[name] !== undefined)
      .map((name) => [name, body.packing[name]]),
  );
  return body.lines.map((row) => ({
    genus: row.genus,
    cultivar: row.cultivar ?? null,
    seller: body.seller ?? null,
    seller_kind: body.seller_kind ?? null,
    service: body.routes[index].service,
    ...packing,
    transit_days: Math.min(answer.routes[index].transit_days.p50, LONGEST_DAYS),
    ship_date: body.ship_date,
    temperature: { origin: body.origin, destination: body.destination, service: body.routes[index].service },
  }));
}

function weights(body, results) {
  const rows = body.lines.map((row, i) => {
    const { evidence } = results[i];
    const isThin = evidence.shipments < ENOUGH_BOXES; // a share beside few boxes would look surer than it is
    return [
      [row.genus, row.cultivar].filter(Boolean).join(" "),
      count(evidence.shipments),
      count(evidence.plants),
      isThin ? "too few boxes of it to say" : percent(evidence.weight),
      isThin ? "–" : percent(1 - evidence.weight),
    ];
  });
  return el(
    "div",
    { class: "scroll", tabindex: "0", role: "region", "aria-label": "How much is your own record" },
    stacked(tableOf({ head: ["Plant", "Own boxes", "Own plants", "Own record counts", "Rules of thumb count"], rows })),
  );
}

/* Draw it for an answer, folded on a phone; calls for the weights of the own record, aborted by `signal`. */
export function evidence(body, answer, { currency, signal }) {
  const title = "What this rests on";
  const inside = el("div");
  const place = el(
    "section",
    { class: "evidence", "aria-label": title },
    isWide() ? [el("h2", {}, title), inside] : el("details", { class: "folded" }, el("summary", {}, title), inside),
  );
  if (isRules(answer)) {
    inside.append(
      el(
        "p",
        {},
        el("strong", {}, "Rules of thumb only. "),
        "None of your own boxes are in these numbers yet. Record what arrives, or bring in a file under ",
        el("a", { href: "#look-back" }, "Look back"),
        ", and fit the model to it.",
      ),
    );
    return place;
  }
  const index = Math.max(answer.routes.findIndex((route) => route.name === answer.recommended), 0);
  const route = answer.routes[index];
  inside.append(
    el(
      "p",
      {},
      el("strong", {}, "Rules of thumb and your own record together. "),
      `On ${route.name} the two say, of ${count(route.plants.sent)} plants healthy two weeks on:`,
    ),
    tableOf({
      head: ["Route, and what speaks", "Healthy", "Margin"],
      rows: answer.routes.flatMap((one) => [
        [`${one.name}, with your record`, spread(one.plants.healthy_two_weeks), money(one.money.margin.mean, currency)],
        ...(one.rules_only
          ? [[`${one.name}, rules of thumb alone`, spread(one.rules_only.healthy_two_weeks), money(one.rules_only.margin.mean, currency)]]
          : []),
      ]),
    }),
  );
  if (route.rules_only)
    inside.append(
      strip({
        strip: route.rules_only.two_weeks_strip,
        sent: route.plants.sent,
        mean: route.rules_only.healthy_two_weeks.mean,
        title: `${route.name} by the rules of thumb alone`,
        faint: true,
      }),
      stripTable(route.rules_only.two_weeks_strip),
    );
  const slot = el("div", {}, el("p", { class: "hint" }, "Asking how much of it is your own record …"));
  inside.append(slot);
  post("/v1/risk", { queries: queries(body, answer, index) }, { signal })
    .then(({ results }) => slot.replaceChildren(weights(body, results)))
    .catch((fault) => fault.name === "AbortError" || slot.replaceChildren(failure(fault)));
  return place;
}
