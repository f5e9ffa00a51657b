/* Twenty equally likely shipments as dots: each stands over the number of plants that arrive healthy in it. */

import { el, svg } from "/page/dom.js";
import { tableOf } from "/page/plot.js";
import { count } from "/page/settings.js";

const WIDTH = 340;
const EDGE = 14;
const DOT = 11;

function stacks(strip, sent) {
  const places = Math.floor((WIDTH - 2 * EDGE) / DOT);
  const step = Math.max(1, Math.ceil((sent + 1) / places));
  const heights = new Map();
  return strip.map((healthy) => {
    const place = Math.min(Math.floor(healthy / step) * step + (step - 1) / 2, sent);
    const height = heights.get(place) ?? 0;
    heights.set(place, height + 1);
    return { place, height };
  });
}

/* `strip` is 20 counts in ascending order, `sent` the plants sent, `mean` the average; `faint` draws rings instead. */
export function strip({ strip: counts, sent, mean, title, faint = false }) {
  const dots = stacks(counts, sent);
  const top = Math.max(...dots.map((dot) => dot.height)) + 1;
  const base = 16 + top * DOT;
  const at = (healthy) => EDGE + DOT / 2 + (healthy / Math.max(sent, 1)) * (WIDTH - 2 * EDGE - DOT);
  const label = `${title}: healthy plants of ${sent} in 20 equally likely shipments: ${counts.join(", ")}. ${count(mean)} on average.`;
  const drawing = svg(
    "svg",
    { viewBox: `0 0 ${WIDTH} ${base + 24}`, class: `strip${faint ? " faint" : ""}`, role: "img", "aria-label": label },
    svg("line", { class: "axis", x1: EDGE, x2: WIDTH - EDGE, y1: base, y2: base }),
    [0, sent / 2, sent]
      .filter((tick) => Number.isInteger(tick))
      .map((tick) => [
        svg("line", { class: "axis", x1: at(tick), x2: at(tick), y1: base, y2: base + 4 }),
        svg("text", { x: at(tick), y: base + 18, "text-anchor": "middle" }, count(tick)),
      ]),
    svg("line", { class: "mean", x1: at(mean), x2: at(mean), y1: 8, y2: base }),
    dots.map(({ place, height }) =>
      svg("circle", { cx: at(place), cy: base - DOT / 2 - height * DOT, r: DOT / 2 - 1 }),
    ),
  );
  return el("figure", { class: "figure" }, el("figcaption", {}, title), drawing);
}

/* The same counts as a table, folded. */
export function stripTable(counts) {
  const rows = [...new Set(counts)].map((healthy) => [
    count(healthy),
    String(counts.filter((other) => other === healthy).length),
  ]);
  return el(
    "details",
    { class: "numbers" },
    el("summary", {}, "The 20 shipments as a table"),
    tableOf({ head: ["Healthy plants", "Shipments of 20"], rows }),
  );
}
