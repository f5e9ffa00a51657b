/* A strip of days for one route: healthy share with its range above, weather at both ends below, blocked days named. */

import { el } from "/page/dom.js";
import { band, line, plot, ranges } from "/page/plot.js";
import { count, date, money, percent, temperatureSpan, toShown, unitName } from "/page/settings.js";

const BLOCKED = {
  certificate_lapsed: "the certificate does not cover it",
  treatment_lapsed: "the treatment does not cover it",
  skipped_weekday: "no departure on this weekday",
  too_late: "too likely to arrive too late",
};
const DAY = { weekday: "short", day: "numeric", month: "short" };
const why = (entry) => entry.blocked_by.map((code) => BLOCKED[code] ?? code).join("; ");
const at = (entry, role) => entry.weather.find((one) => one.role === role);

/* Runs of blocked days with the same reason, as sentences. */
function blockedRuns(entries) {
  const runs = [];
  for (const entry of entries) {
    const reason = why(entry);
    if (!reason) continue;
    const last = runs.at(-1);
    if (last && last.reason === reason && entries[entries.indexOf(entry) - 1] === last.to) last.to = entry;
    else runs.push({ reason, from: entry, to: entry });
  }
  return runs.map(({ reason, from, to }) =>
    from === to
      ? `${date(from.ship_date, DAY)}: ${reason}`
      : `${date(from.ship_date, DAY)} to ${date(to.ship_date, DAY)}: ${reason}`,
  );
}

function weatherSeries(entries, role, name, mark) {
  const x = entries.map((entry) => entry.ship_date);
  const values = (end) => entries.map((entry) => toShown(at(entry, role)[end]));
  return [
    (colours) => band({ x, low: values("min_c"), high: values("max_c"), name, role: mark })(colours).map(onSecond),
    (colours) => line({ x, y: values("max_c"), name, role: mark, dash: role === "origin" ? "dot" : "solid", hover: "%{y:.0f}" })(colours).map(onSecond),
  ];
}

const onSecond = (trace) => ({ ...trace, yaxis: "y2", hoverinfo: "skip", hovertemplate: undefined });

/* `entries` are the days of one route; `chosen` the recommended entry of any route, or null. */
export function holdStrip(route, entries, { sent, currency, chosen }) {
  const mine = entries.includes(chosen);
  const share = (value) => value / sent;
  const state = (entry) => (entry === chosen ? "chosen" : entry.blocked_by.length ? "blocked" : "open");
  const roles = entries.map((entry) => ({ chosen: "mark", blocked: "faint", open: "good" })[state(entry)]);
  const symbols = entries.map((entry) => ({ chosen: "star", blocked: "x-thin", open: "circle" })[state(entry)]);
  const last = entries[0].weather.at(-1);
  const ends = ["origin", "destination"].map((role) => at(entries[0], role).place);
  const forecast = entries.some((entry) => entry.weather.some((one) => one.source === "forecast"));
  const runs = blockedRuns(entries);
  return el(
    "section",
    { class: "outcome", "aria-label": route },
    el("h3", {}, route, mine ? el("span", { class: "badge" }, `★ ${date(chosen.ship_date, DAY)}`) : null),
    plot({
      label: `${route}: share of plants healthy at unboxing by ship date, and the weather at ${ends.join(" and ")}`,
      height: 340,
      series: [
        ranges({
          x: entries.map((entry) => entry.ship_date),
          y: entries.map((entry) => share(entry.healthy.mean)),
          low: entries.map((entry) => share(entry.healthy.p05)),
          high: entries.map((entry) => share(entry.healthy.p95)),
          roles,
          symbols,
          size: entries.map((entry) => (entry === chosen ? 15 : 9)),
          text: entries.map(
            (entry) => `${date(entry.ship_date, DAY)}: ${percent(share(entry.healthy.mean))}${why(entry) ? `, ${why(entry)}` : ""}`,
          ),
        }),
        ...weatherSeries(entries, "origin", ends[0], "fair"),
        ...weatherSeries(entries, "destination", ends[1], "mark"),
      ],
      x: { type: "date", tickformat: "%-d %b", anchor: "y2" },
      y: { title: "healthy", tickformat: ".0%", range: [0, 1.04], domain: [0.42, 1] },
      more: (colours) => ({
        yaxis2: {
          title: { text: unitName(), standoff: 8 },
          domain: [0, 0.34],
          color: colours.ink,
          gridcolor: colours.line,
          zeroline: false,
          fixedrange: true,
          automargin: true,
        },
        annotations: ["origin", "destination"].map((role) => ({
          x: entries.at(-1).ship_date,
          y: toShown(at(entries.at(-1), role).max_c),
          yref: "y2",
          text: at(entries[0], role).place,
          xanchor: "right",
          yanchor: "bottom",
          showarrow: false,
          font: { color: role === "origin" ? colours.fair : colours.mark, size: 13 },
        })),
      }),
      note:
        `● open, ★ recommended, ✕ blocked; bars hold 9 in 10 shipments. Below: lowest to highest of the day at ${ends[0]} ` +
        `(dotted) and, when the box gets there, at ${last.place}; ${forecast ? "the forecast where given, else " : ""}monthly normals.`,
      table: {
        head: ["Leaves", "Healthy", "9 in 10", "Margin", "Waiting helps", ...entries[0].weather.map((one) => one.place), "Blocked"],
        rows: entries.map((entry) => [
          `${date(entry.ship_date, DAY)}${entry === chosen ? " ★" : ""}`,
          percent(share(entry.healthy.mean)),
          `${count(entry.healthy.p05)} to ${count(entry.healthy.p95)}`,
          money(entry.margin.mean, currency, { whole: true }),
          entry.chance_better_than_first === null ? "–" : percent(entry.chance_better_than_first),
          ...entry.weather.map((one) => temperatureSpan(one.min_c, one.max_c)),
          why(entry) || "no",
        ]),
      },
    }),
    runs.length ? el("div", {}, el("h4", {}, "Blocked days"), el("ul", {}, runs.map((text) => el("li", {}, text)))) : null,
  );
}
