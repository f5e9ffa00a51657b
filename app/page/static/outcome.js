/* What becomes of the batch on one route: plants, money, days and the air in the box. */

import { el } from "/page/dom.js";
import { plot, tableOf } from "/page/plot.js";
import { roundTicks } from "/page/plot_axes.js";
import { band, line, rule } from "/page/plot_marks.js";
import { count, decimal, isWide, money, percent, temperature, temperatureSpan, toShown, unitName } from "/page/settings.js";
import { drawnStrip, stripTable } from "/page/strip.js";

/* "24 (11 to 30)": the mean and what 9 in 10 shipments lie between. */
export const spread = (of) => `${count(of.mean)} (${count(of.p05)} to ${count(of.p95)})`;

function facts(rows) {
  return el(
    "dl",
    { class: "facts" },
    rows.map(([name, text]) => el("div", {}, el("dt", {}, name), el("dd", {}, text))),
  );
}

const row = (name, ...cells) => el("div", {}, el("dt", {}, name), cells);

/* What decides between routes: the same rows for each, so that they line up. */
function deciding(route, { currency, bearable }) {
  const { plants, money: sums } = route;
  const whole = (amount) => money(amount, currency, { whole: true });
  return el(
    "dl",
    { class: "facts" },
    row(
      "Healthy two weeks on",
      el("dd", { class: "big" }, el("strong", {}, count(plants.healthy_two_weeks.mean)), ` of ${count(plants.sent)}`),
    ),
    row(
      "20 shipments as likely as each other; dashed: average",
      el(
        "dd",
        {},
        drawnStrip({
          strip: plants.two_weeks_strip,
          sent: plants.sent,
          mean: plants.healthy_two_weeks.mean,
          title: route.name,
        }),
      ),
    ),
    row(
      "Margin",
      el("dd", {}, whole(sums.margin.mean), " ", el("span", { class: "span" }, `${count(sums.margin.p05)} to ${count(sums.margin.p95)}`)),
    ),
    row("Worst 1 in 20", el("dd", {}, whole(sums.worst_5pct_margin))),
    row(`Loss within ${bearable}`, el("dd", {}, `${percent(route.chance_loss_within_limit)} sure`)),
    row(
      "Landed cost",
      el("dd", {}, money(sums.landed_cost, currency)),
      sums.without ? el("dd", { class: "hint" }, sums.without) : null,
    ),
  );
}

function otherFacts(route, currency, alone) {
  const { plants, money: sums, transit_days: transit } = route;
  return facts([
    ["Healthy two weeks on", spread(plants.healthy_two_weeks)],
    ["Healthy at unboxing", spread(plants.healthy)],
    ...(plants.chance_none_healthy >= 0.005 ? [["Not one healthy", percent(plants.chance_none_healthy)]] : []),
    ["Damaged, dead", `${spread(plants.damaged)}, ${spread(plants.dead)}`],
    [
      "Per healthy plant",
      sums.cost_per_healthy_plant === null ? "none is left" : money(sums.cost_per_healthy_plant, currency),
    ],
    ["Days, all waits counted", `${decimal(transit.p50)} usual, ${decimal(transit.p10)} to ${decimal(transit.p90)} in 8 of 10`],
    ["Inside the box", temperatureSpan(route.inside_c.p05, route.inside_c.p95)],
    ["Boxes", count(route.boxes)],
    ...(alone ? [] : [["Best of the routes", `in ${percent(route.chance_best)} of the journeys played through`]]),
  ]);
}

function items(route, currency) {
  const rows = route.money.items.map((item) => [item.text, money(item.amount, currency)]);
  rows.push(["Landed cost", money(route.money.landed_cost, currency)]);
  rows.push(["Claims, on average", money(route.money.recovered_mean, currency)]);
  return el(
    "details",
    { class: "numbers" },
    el("summary", {}, "Costs, item by item"),
    tableOf({ head: ["Item", "Amount"], rows }),
  );
}

function perLine(route) {
  if (route.lines.length < 2) return null;
  const rows = route.lines.map((row) => [
    [row.genus, row.cultivar].filter(Boolean).join(" "),
    count(row.quantity),
    spread(row.healthy),
    spread(row.dead),
  ]);
  return el(
    "details",
    { class: "numbers" },
    el("summary", {}, "Line by line"),
    el(
      "div",
      { class: "scroll", tabindex: "0", role: "region", "aria-label": `${route.name}, line by line` },
      tableOf({ head: ["Plant", "Sent", "Healthy", "Dead"], rows }),
    ),
  );
}

/* The air in the box by day; `span` is the shared range of temperatures, `cold` the highest chilling threshold. */
function insidePlot(route, span, cold) {
  const known = route.inside_by_day;
  const x = known.map((day) => day.day);
  const values = (name) => known.map((day) => toShown(day[name]));
  const late = known.filter((day) => day.under_way < 0.5).map((day) => day.day);
  const range = span.map(toShown);
  return plot({
    label: `Temperature inside the box on ${route.name}, day by day`,
    height: 13,
    series: [
      band({ x, low: values("p05"), high: values("p95") }),
      cold ? rule({ y: toShown(cold.celsius), text: `cold injures ${cold.genus} below`, role: "bad" }) : null,
      line({
        x,
        y: values("p50"),
        text: known.map(
          (day) => `Day ${day.day}: ${temperature(day.p50)}, 9 in 10 hours ${temperatureSpan(day.p05, day.p95)}.`,
        ),
      }),
    ].filter(Boolean),
    x: {
      title: "day after closing the box",
      range: [0.8, known.length + 0.2],
      ticks: x.map((day) => ({ at: day, text: String(day) })),
    },
    y: { title: unitName(), range, ticks: roundTicks(range, 4) },
    table: {
      head: ["Day", "Middle", "9 in 10 hours", "Under way"],
      rows: known.map((day) => [
        String(day.day),
        temperature(day.p50),
        temperatureSpan(day.p05, day.p95),
        percent(day.under_way),
      ]),
    },
    note:
      "Line: the middle of the hours. Shaded: 9 in 10 hours." +
      (late.length ? ` From day ${late[0]} fewer than half of the boxes are still under way.` : ""),
  });
}

/* One column of the table of routes. `recommended` marks it in words; `plan` is {href, text} of what plans a box by it. */
export function outcome(route, { currency, bearable, recommended, alone, plan }) {
  return el(
    "section",
    { class: `outcome${recommended ? " best" : ""}`, "aria-label": route.name },
    el("h3", {}, route.name, recommended && !alone ? el("span", { class: "badge" }, "✓ take this one") : null),
    deciding(route, { currency, bearable }),
    el("a", { class: "button", href: plan.href }, plan.text),
  );
}

/* The rest of what is known of a route. `span` is the range of temperatures that all routes share, `cold` the highest
   chilling threshold. */
export function outcomeDetails(route, { currency, span, cold, alone }) {
  return el(
    "section",
    { class: "in-detail", "aria-label": `More about ${route.name}` },
    el(
      "details",
      { class: "folded", open: isWide() },
      el("summary", {}, `More about ${route.name}`),
      otherFacts(route, currency, alone),
      stripTable(route.plants.two_weeks_strip),
      el("h3", {}, "Inside the box on the way"),
      insidePlot(route, span, cold),
      items(route, currency),
      perLine(route),
    ),
  );
}
