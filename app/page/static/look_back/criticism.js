/* What the model was asked about itself when it last learned: in words, with the numbers folded. */

import { el } from "/page/dom.js";
import { tableOf } from "/page/plot.js";
import { boxesOf } from "/page/plural.js";
import { count, decimal, percent, said } from "/page/settings.js";

const RESTS = {
  boxes: "your boxes",
  rules: "rules of thumb and tables",
  both: "both",
  conflict: "both, which pull apart",
  neither: "neither moves it much",
};

/* Sentences, and the tables behind them. */
export function criticismPart({ criticism, fitted }) {
  if (!criticism) {
    const why = fitted ? "It is looked at when the model learns from the boxes next." : "Nothing is learned from boxes of your own yet.";
    return [el("p", {}, why)];
  }
  const { text, checks, left_out: leftOut, rests } = criticism;
  const tables = [
    checks.length ? checkTable(checks) : null,
    leftOut ? leftOutTable(leftOut) : null,
    rests.length ? restTable(rests) : null,
  ].filter(Boolean);
  return [
    el("ul", {}, text.map((sentence) => el("li", {}, said(sentence)))),
    tables.length
      ? el(
          "details",
          {},
          el("summary", {}, "The numbers behind this"),
          tables.map(([label, ...parts]) =>
            el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": `Table: ${label}` }, parts),
          ),
        )
      : null,
  ].filter(Boolean);
}

/* A number of boxes, or a share of plants. */
const told = ({ about }, value) => (about === "no_survivor" ? count(value) : percent(value));

const checkTable = (checks) => [
  "what came beside what the model would have",
  tableOf({
    caption: "What came, and the middle 95 % of what the model would have: boxes with no survivor, shares healthy",
    head: ["Of", "Boxes", "Came", "Model, 95 %", "Model, less than came"],
    rows: checks.map((check) => [
      check.label,
      count(check.boxes),
      told(check, check.found),
      `${told(check, check.low)}–${told(check, check.high)}`,
      `${decimal(100 * check.below)} %${check.extreme ? ", odd" : ""}`,
    ]),
  }),
];

const leftOutTable = ({ boxes, score, rules, difference, standard_error: error, by_box: listed }) => [
  "boxes foreseen from the others",
  tableOf({
    caption: "Log chance of a box's counts, foreseen from the others; higher is better",
    head: ["Box", "Model", "Rules of thumb alone"],
    rows: [
      [`All ${boxesOf(boxes)}`, decimal(score), decimal(rules)],
      ...listed.map((box) => [box.shipment, decimal(box.score), decimal(box.rules)]),
    ],
  }),
  el(
    "p",
    { class: "hint" },
    `Of one box ${decimal(difference, 2)} apart on average${error === null ? "" : `, standard error ${decimal(error, 2)}`}; above 0 the model is better. ${listed.length < boxes ? `The ${count(listed.length)} furthest apart.` : ""}`,
  ),
];

const restTable = (rests) => [
  "what answers rest on",
  tableOf({
    caption: "How far an answer moves for twice the weight (from 0.05 on it is felt), and where to, in standard deviations",
    head: ["Answer", "Your boxes", "Moves with rules", "to", "Moves with boxes", "to", "Rests on"],
    rows: rests.map((one) => [
      one.label,
      one.boxes === null ? "–" : count(one.boxes),
      decimal(one.prior, 2),
      decimal(one.prior_shift, 2),
      decimal(one.likelihood, 2),
      decimal(one.likelihood_shift, 2),
      RESTS[one.on],
    ]),
  }),
];
