/* Time ratios as intervals on a log axis: how long plants keep against an average. */

import { plot, ranges } from "/page/plot.js";
import { boxesOf, many } from "/page/plural.js";
import { decimal } from "/page/settings.js";

/* Fewer boxes than this are thin evidence (common practice, no source). */
export const ENOUGH_BOXES = 5;
const TICKS = [0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20];
const WIDEST = 24;
const ROW_PX = 28;
const FRAME_PX = 104;

/* Rows for a plot from effects ({name, time_ratio, boxes, plants}), longest keeping first. */
export function rowsOf(effects) {
  return effects
    .map(({ name, time_ratio: ratio, boxes, plants, text }) => ({
      name,
      ratio,
      boxes,
      thin: boxes < ENOUGH_BOXES,
      rests: restsOn(boxes, plants),
      text,
    }))
    .sort((one, other) => other.ratio.p50 - one.ratio.p50 || one.name.localeCompare(other.name));
}

/* What a ratio rests on, in words. */
export function restsOn(boxes, plants) {
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
  const names = rows.map(({ name }) => name);
  const ends = rows.flatMap(({ ratio }) => [within(ratio.p10), within(ratio.p90)]);
  const [low, high] = [Math.min(0.5, ...ends) / 1.1, Math.max(2, ...ends) * 1.1];
  return plot({
    label,
    note: `Filled circles rest on ${ENOUGH_BOXES} boxes or more; open grey ones, marked thin, on fewer: read them as little more than the rules of thumb. Lines are 80 % intervals.`,
    height: FRAME_PX + ROW_PX * rows.length,
    series: [
      ranges({
        x: rows.map(({ ratio }) => within(ratio.p50)),
        y: names,
        low: rows.map(({ ratio }) => within(ratio.p10)),
        high: rows.map(({ ratio }) => within(ratio.p90)),
        name: what,
        roles: rows.map(({ thin }) => (thin ? "faint" : "mark")),
        symbols: rows.map(({ thin }) => (thin ? "circle-open" : "circle")),
        text: rows.map(
          ({ name, ratio, rests }) =>
            `${name}: ${ratioWords(ratio.p50)} (${ratioWords(ratio.p10)}–${ratioWords(ratio.p90)}), ${rests}`,
        ),
        across: true,
      }),
    ],
    x: {
      title: "times as long",
      type: "log",
      range: [Math.log10(low), Math.log10(high)],
      tickvals: TICKS,
      ticktext: TICKS.map((tick) => String(tick)),
    },
    y: {
      categoryorder: "array",
      categoryarray: names,
      range: [names.length - 0.5, -0.5],
      tickvals: names,
      ticktext: rows.map(({ name, thin }) => (thin ? `${short(name)} (thin)` : short(name))),
    },
    more: (colours) => ({
      shapes: [
        {
          type: "line",
          x0: 1,
          x1: 1,
          yref: "paper",
          y0: 0,
          y1: 1,
          line: { color: colours.ink, width: 1.5, dash: "dot" },
        },
      ],
    }),
    table: {
      head: [what, "Keeps", "In 8 of 10 cases", "Rests on", ...more.map(({ head }) => head)],
      rows: rows.map(({ name, ratio, rests }) => [
        name,
        `${ratioWords(ratio.p50)}×`,
        `${ratioWords(ratio.p10)}–${ratioWords(ratio.p90)}×`,
        rests,
        ...more.map(({ of }) => of(name)),
      ]),
    },
  });
}

const short = (name) => (name.length > 16 ? `${name.slice(0, 15)}…` : name);
