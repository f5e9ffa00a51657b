/* Time ratios as intervals on a log axis: how long plants keep against an average. */

import { plot } from "/page/plot.js";
import { ranges, rule } from "/page/plot_marks.js";
import { boxesOf, many } from "/page/plural.js";
import { decimal } from "/page/settings.js";
import { stacked } from "/page/stacked.js";

/* Fewer boxes than this are thin evidence (common practice, no source). */
export const ENOUGH_BOXES = 5;
/* The more important first: where there is no room, the others are left out. */
const TICKS = [1, 0.5, 2, 0.2, 5, 0.1, 10, 0.05, 20];
const WIDEST = 24;
const ROW_REM = 1.75;
const FRAME_REM = 4;

/* Rows for a plot from effects ({name, time_ratio, boxes, plants}), longest keeping first. */
export function rowsOf(effects) {
  return effects
    .map(({ name, time_ratio: ratio, boxes, plants, recorded_boxes: recorded, text }) => ({
      name,
      ratio,
      boxes,
      thin: boxes < ENOUGH_BOXES,
      waits: boxes < ENOUGH_BOXES && recorded >= ENOUGH_BOXES,
      rests: restsOn(boxes, plants, recorded),
      text,
    }))
    .sort((one, other) => other.ratio.p50 - one.ratio.p50 || one.name.localeCompare(other.name));
}

/* What a ratio rests on, in words. */
export function restsOn(boxes, plants, recorded = 0) {
  if (boxes < ENOUGH_BOXES && recorded >= ENOUGH_BOXES)
    return `${boxesOf(recorded)} on record, ${boxes || "none"} of them learned from yet`;
  if (!boxes) return "thin: no box of yours, rules of thumb only";
  const behind = `${boxesOf(boxes)}, ${many(plants, "plant")}`;
  return boxes < ENOUGH_BOXES ? `thin: ${behind}` : behind;
}

export const ratioWords = (value) => {
  if (value >= 100) return "over 100";
  return value < 0.01 ? "under 0.01" : decimal(value, 2);
};

/* A ratio as far as the axis goes. */
const within = (value) => Math.min(Math.max(value, 1 / WIDEST), WIDEST);

export function ratioFigure({ rows, label, what, more = [] }) {
  const ends = rows.flatMap(({ ratio }) => [within(ratio.p10), within(ratio.p90)]);
  const [low, high] = [Math.min(0.5, ...ends) / 1.1, Math.max(2, ...ends) * 1.1];
  const figure = plot({
    label,
    note: `Filled circles rest on ${ENOUGH_BOXES} boxes or more; open grey ones, marked thin, on fewer: read them as little more than the rules of thumb. Lines are 80 % intervals.`,
    height: FRAME_REM + ROW_REM * rows.length,
    series: [
      rule({ x: 1 }),
      ranges({
        x: rows.map(({ ratio }) => within(ratio.p50)),
        y: rows.map((_, i) => i),
        low: rows.map(({ ratio }) => within(ratio.p10)),
        high: rows.map(({ ratio }) => within(ratio.p90)),
        roles: rows.map(({ thin }) => (thin ? "faint" : "mark")),
        shapes: rows.map(({ thin }) => (thin ? "open" : "circle")),
        text: rows.map(
          ({ name, ratio, rests }) =>
            `${name}: ${ratioWords(ratio.p50)} (${ratioWords(ratio.p10)}–${ratioWords(ratio.p90)}), ${rests}`,
        ),
        across: true,
      }),
    ],
    x: {
      title: "times as long",
      log: true,
      range: [low, high],
      ticks: TICKS.filter((at) => at >= low && at <= high).map((at) => ({ at, text: String(at) })),
    },
    y: {
      range: [rows.length - 0.5, -0.5],
      ticks: rows.map(({ name, thin, waits }, i) => ({ at: i, text: thin && !waits ? `${short(name)} (thin)` : short(name) })),
    },
    table: {
      head: [what, "Keeps", "In 8 of 10 cases", "Rests on", ...more.map(({ head }) => head)],
      rows: rows.map(({ name, ratio, rests, thin }) => [
        name,
        thin ? "unsure" : `${ratioWords(ratio.p50)}×`,
        `${ratioWords(ratio.p10)}–${ratioWords(ratio.p90)}×`,
        rests,
        ...more.map(({ of }) => of(name)),
      ]),
    },
  });
  stacked(figure.querySelector("table"));
  return figure;
}

const short = (name) => (name.length > 16 ? `${name.slice(0, 15)}…` : name);
