/* The days of one route in a row each: what margin and healthy plants differ from shipping first, as bars on a scale
   that all routes share, and a way to plan the day. Ranges and weather stand below, folded. */

import { el, svg } from "/page/dom.js";
import { tableOf } from "/page/plot.js";
import { count, date, decimal, money, percent, temperatureSpan } from "/page/settings.js";

const BLOCKED = {
  past: "past: nothing can leave on it any more",
  certificate_lapsed: "the certificate does not cover it",
  treatment_lapsed: "the treatment does not cover it",
  skipped_weekday: "no departure on this weekday",
  too_late: "too likely to arrive too late",
};
export const DAY = { weekday: "short", day: "numeric", month: "short" };
const WIDTH = 120;
const HEIGHT = 18;
const why = (entry) => entry.blocked_by.map((code) => BLOCKED[code] ?? code).join("; ");
const isOpen = (entry) => entry.blocked_by.length === 0;
/* A difference as it is shown, with its sign; what rounds to nothing has none. */
const signed = (shown, value) => (value === 0 ? shown(0) : `${value > 0 ? "+" : "−"}${shown(Math.abs(value))}`);

/* Ends of the bars of all routes: {margin: [low, high], healthy: [low, high]}, 0 within. */
export function scaleOf(entries) {
  const ends = (values) => [Math.min(0, ...values), Math.max(0, ...values)];
  const open = entries.filter((entry) => isOpen(entry) && entry.against_first);
  return {
    margin: ends(open.flatMap(({ against_first: { margin, noise } }) => [margin.mean, noise, -noise])),
    healthy: ends(open.map(({ against_first: { healthy_two_weeks: healthy } }) => healthy.mean)),
  };
}

/* A bar from 0 to `value`; within `noise` of 0 a difference is about nothing. */
function bar(value, [low, high], noise = 0) {
  const at = (x) => 1 + ((x - low) / (high - low || 1)) * (WIDTH - 2);
  const box = (from, to, y, height, name) =>
    svg("rect", { class: name, x: Math.min(at(from), at(to)), y, width: Math.abs(at(to) - at(from)), height });
  return svg(
    "svg",
    { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, class: "bar", "aria-hidden": "true", preserveAspectRatio: "none" },
    noise ? box(-noise, noise, 0, HEIGHT, "noise") : null,
    box(0, value, 4, HEIGHT - 8, value < 0 ? "less" : "more"),
    svg("line", { x1: at(0), x2: at(0), y1: 0, y2: HEIGHT }),
  );
}

function row(entry, { first, chosen, currency, scale, plan, planWords }) {
  const day = date(entry.ship_date, DAY);
  const against = entry.against_first;
  const mark =
    entry === chosen ? "★ this day" : chosen && entry.group === chosen.group && entry.route === chosen.route ? "as good" : null;
  const head = el("th", { scope: "row" }, day, mark ? el("span", { class: "aside" }, mark) : null);
  if (!isOpen(entry)) return el("tr", { class: "blocked" }, head, el("td", { colspan: 3 }, why(entry)));
  const cells =
    entry === first
      ? [el("td", { colspan: 2 }, `first: ${money(entry.margin.mean, currency, { whole: true })}, ${count(entry.healthy_two_weeks.mean)} healthy`)]
      : [
          el(
            "td",
            {},
            bar(against.margin.mean, scale.margin, against.noise),
            el("span", {}, signed((amount) => money(amount, currency, { whole: true }), Math.round(against.margin.mean))),
          ),
          el(
            "td",
            {},
            bar(against.healthy_two_weeks.mean, scale.healthy),
            el("span", {}, signed(decimal, Math.round(10 * against.healthy_two_weeks.mean) / 10)),
          ),
        ];
  return el(
    "tr",
    { class: entry === chosen ? "chosen" : null },
    head,
    cells,
    el("td", {}, el("a", { href: plan(entry), "aria-label": `${planWords}: ${day} by ${entry.route}` }, planWords)),
  );
}

/* `entries` are the days of one route; `chosen` the recommended entry of any route, or null; `scale` of `scaleOf`;
   `plan(entry)` the address that plans a box on a day, `planWords` what it is called. */
export function holdStrip(route, entries, { sent, currency, chosen, scale, plan, planWords }) {
  const mine = entries.includes(chosen);
  const first = entries.find(isOpen);
  const caption = first ? `Difference from shipping on ${date(first.ship_date, DAY)}; plants healthy two weeks on` : "Every day is blocked";
  return el(
    "section",
    { class: "hold-route", "aria-label": route },
    el("h3", {}, route, mine ? el("span", { class: "badge" }, `★ ${date(chosen.ship_date, DAY)}`) : null),
    el(
      "table",
      { class: "days" },
      el("caption", {}, caption),
      el(
        "thead",
        {},
        el(
          "tr",
          {},
          ["Leaves", "Margin", "Healthy"].map((text) => el("th", { scope: "col" }, text)),
          el("td", {}),
        ),
      ),
      el("tbody", {}, entries.map((entry) => row(entry, { first, chosen, currency, scale, plan, planWords }))),
    ),
    entries.some(isOpen)
      ? el("p", { class: "hint" }, "Within the shaded band a difference in margin is about nothing.")
      : null,
    el(
      "details",
      { class: "numbers" },
      el("summary", {}, "Ranges and weather"),
      el(
        "div",
        { class: "scroll", tabindex: "0", role: "region", "aria-label": `${route}: ranges and weather by day` },
        ranges(entries, { sent, currency, chosen }),
      ),
      el("p", { class: "hint" }, weatherNote(entries)),
    ),
  );
}

function ranges(entries, { sent, currency, chosen }) {
  const span = (of, shown) => `${shown(of.p05)} to ${shown(of.p95)}`;
  const whole = (amount) => money(amount, currency, { whole: true });
  return tableOf({
    head: ["Leaves", `Healthy of ${count(sent)}`, "9 in 10", "Margin", "9 in 10", "Beats first", ...entries[0].weather.map((one) => one.place)],
    rows: entries.map((entry) => [
      `${date(entry.ship_date, DAY)}${entry === chosen ? " ★" : ""}`,
      count(entry.healthy_two_weeks.mean),
      span(entry.healthy_two_weeks, count),
      whole(entry.margin.mean),
      span(entry.margin, whole),
      entry.chance_better_than_first === null ? "–" : percent(entry.chance_better_than_first),
      ...entry.weather.map((one) => temperatureSpan(one.min_c, one.max_c)),
    ]),
  });
}

function weatherNote(entries) {
  const [from, ...later] = entries[0].weather.map((one) => one.place);
  const forecast = entries.some((entry) => entry.weather.some((one) => one.source === "forecast"));
  return (
    `Lowest to highest of the day at ${from} when it leaves and at ${later.join(" and ")} when it gets there; ` +
    `${forecast ? "the forecast where given, else " : ""}monthly normals.`
  );
}
