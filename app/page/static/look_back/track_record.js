/* The track record: what was forecast against what was found. */

import { el } from "/page/dom.js";
import { ENOUGH_BOXES } from "/page/look_back/time_ratios.js";
import { plot, tableOf } from "/page/plot.js";
import { line, ranges } from "/page/plot_marks.js";
import { boxesOf, many } from "/page/plural.js";
import { count, decimal, percent, said } from "/page/settings.js";

const OUTCOMES = {
  healthy: { word: "healthy", role: "good", shape: "circle" },
  dead: { word: "dead", role: "bad", shape: "square" },
};
const PART_WORDS = { service: "Service", group: "Plants", season: "Season" };
const STATES = { wrong: "Wrong", right: "Right", unclear: "Too early to say" };
/* Fewer boxes make a plot that says more about chance than about the forecasts; the server judges from as many on. */
const ENOUGH_FOR_PLOT = 10;
const PERCENTS = [0, 0.25, 0.5, 0.75, 1];

/* What the forecasts got right and wrong, in words. */
export function recordWords(answer) {
  if (!answer.boxes)
    return [
      el("p", {}, said(answer.verdict)),
      el(
        "p",
        {},
        "Plan boxes here before they leave: each forecast is kept as it was, and compared when the box is opened.",
      ),
    ];
  const left = leftOut(answer.not_scored);
  return [
    ...Object.entries(STATES).flatMap(([state, heading]) => {
      const own = answer.findings.filter((finding) => finding.state === state);
      return own.length
        ? [el("h3", {}, heading), el("ul", { class: "findings" }, own.map(({ text }) => el("li", {}, said(text))))]
        : [];
    }),
    left ? el("p", { class: "hint" }, left) : null,
  ].filter(Boolean);
}

/* The plot of chances given and what came of them; from so many boxes on that it says something. */
export function recordPlot(answer) {
  return answer.boxes >= ENOUGH_FOR_PLOT
    ? [reliability(answer)]
    : [
        el(
          "p",
          {},
          `${answer.boxes ? boxesOf(answer.boxes) : "No box"} with a forecast so far: drawn from ${count(ENOUGH_FOR_PLOT)} on.`,
        ),
      ];
}

/* Ranges, scores and parts, for those who read them. */
export function recordStatistics(answer) {
  if (!answer.boxes) return [];
  return [
    el("p", {}, said(answer.verdict)),
    answer.boxes < ENOUGH_FOR_PLOT ? reliability(answer) : null,
    coverage(answer),
    answer.parts.length ? parts(answer) : null,
  ].filter(Boolean);
}

const isThin = ({ boxes }) => boxes < ENOUGH_BOXES;

function reliability({ reliability: rows, boxes, plants }) {
  const series = Object.entries(OUTCOMES)
    .map(([outcome, { word, role, shape }]) => [rows.filter((row) => row.outcome === outcome), word, role, shape])
    .filter(([own]) => own.length)
    .map(([own, word, role, shape]) =>
      ranges({
        x: own.map(({ forecast }) => forecast),
        y: own.map(({ observed }) => observed),
        low: own.map(({ observed_low: low }) => low),
        high: own.map(({ observed_high: high }) => high),
        roles: role,
        shapes: shape,
        text: own.map(
          (row) =>
            `${word}: forecast ${percent(row.forecast)}, found ${percent(row.observed)}, ${many(row.plants, "plant")} in ${boxesOf(row.boxes)}`,
        ),
      }),
    );
  const share = { ticks: PERCENTS.map((at) => ({ at, text: percent(at) })), range: [-0.03, 1.03] };
  const figure = plot({
    note: "Circles: healthy. Squares: dead. Lines: 80 % intervals. On the dashed line what was found is what was forecast; circles below it and squares above it mean forecasts too hopeful.",
    label: `Chances given and what came of them, ${boxesOf(boxes)} with ${many(plants, "plant")}; on the diagonal the forecasts are right`,
    height: 22,
    series: [
      line({ x: [0, 1], y: [0, 1], role: "faint", dashed: true }),
      ...series,
    ],
    x: { title: "chance given", ...share },
    y: { title: "share found", ...share },
    table: {
      head: ["Outcome", "Chance given", "Found", "In 8 of 10 cases", "Plants", "Boxes"],
      rows: rows.map((row) => [
        OUTCOMES[row.outcome].word,
        percent(row.forecast),
        isThin(row) ? `${count(row.observed * row.plants)} of ${count(row.plants)}` : percent(row.observed),
        `${percent(row.observed_low)}–${percent(row.observed_high)}`,
        count(row.plants),
        isThin(row) ? `${count(row.boxes)}, few` : count(row.boxes),
      ]),
    },
  });
  figure.classList.add("square");
  return figure;
}

function coverage({ coverage: rows, log_score: score, brier }) {
  const held = (part) =>
    part.n ? `${count(part.held)} of ${count(part.n)}, ${decimal(part.expected)} expected` : "none yet";
  const told = (value) => (value === null ? "–" : decimal(value, 3));
  return el(
    "details",
    {},
    el("summary", {}, "Ranges and scores"),
    el(
      "div",
      { class: "scroll", tabindex: "0", role: "region", "aria-label": "Table: how often ranges held" },
      tableOf({
        caption: "How often a range held what was found",
        head: ["Range", "Plants", "Days on the way"],
        rows: rows.map((row) => [percent(row.level), held(row.counts_held), held(row.transit_held)]),
      }),
      tableOf({
        caption: "Scores, lower is better",
        head: ["Score", "Forecasts", "Rules of thumb alone"],
        rows: [
          ["Log score", told(score.forecast), told(score.rules)],
          ["Brier score", told(brier.forecast), told(brier.rules)],
        ],
      }),
    ),
  );
}

function parts({ parts: rows, parts_minimum: fewest }) {
  return el(
    "details",
    {},
    el("summary", {}, "By service, plants and season"),
    el(
      "div",
      { class: "scroll", tabindex: "0", role: "region", "aria-label": "Table: the record in parts" },
      tableOf({
        head: ["Part", "Boxes", "80 % ranges that held", "Log score", "of the rules alone"],
        rows: rows.map(({ by, level, boxes, log_score: score, counts_held: held }) => [
          `${PART_WORDS[by]}: ${level.replaceAll("_", " ")}`,
          count(boxes),
          `${count(held.held)} of ${count(held.n)}`,
          score.forecast === null ? "–" : decimal(score.forecast, 2),
          score.rules === null ? "–" : decimal(score.rules, 2),
        ]),
      }),
    ),
    el("p", { class: "hint" }, `Listed from ${boxesOf(fewest)} on.`),
  );
}

function leftOut({ lost, forecast_after_arrival: late, nothing_counted: uncounted }) {
  const reasons = [
    [lost, "lost"],
    [late, "planned when they had arrived"],
    [uncounted, "without a count of what was forecast"],
  ];
  const told = reasons.filter(([n]) => n).map(([n, words]) => `${count(n)} ${words}`);
  return told.length ? `Not scored: ${told.join(", ")}.` : "";
}
