/* Counts of plants drawn on one scale: what is ordered, what of it arrives healthy, what is wanted. The numbers stand
   beside it, so that it is hidden from a screen reader. */

import { svg } from "/page/dom.js";

const WIDTH = 400;
const HEIGHT = 16;

/* `most` is the end of the scale of all rows; `span` has p05 and p95. */
export function gauge({ most, ordered, span, wanted }) {
  const at = (n) => 1 + (n / Math.max(most, 1)) * (WIDTH - 2);
  const bar = (from, to, y, name) =>
    svg("rect", { class: name, x: at(from), y, width: Math.max(at(to) - at(from), 2), height: HEIGHT - 2 * y });
  return svg(
    "svg",
    { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, class: "gauge", "aria-hidden": "true", preserveAspectRatio: "none" },
    bar(0, ordered, 5, "ordered"),
    bar(span.p05, span.p95, 2, "healthy"),
    svg("line", { class: "wanted", x1: at(wanted), x2: at(wanted), y1: 0, y2: HEIGHT }),
  );
}

/* A margin to the left or right of nothing, on the scale [low, high] of all rows. */
export function sideBar(value, [low, high]) {
  const at = (x) => 1 + ((x - low) / (high - low || 1)) * (WIDTH - 2);
  return svg(
    "svg",
    { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, class: "gauge", "aria-hidden": "true", preserveAspectRatio: "none" },
    svg("rect", {
      class: value < 0 ? "less" : "healthy",
      x: Math.min(at(0), at(value)),
      y: 4,
      width: Math.abs(at(value) - at(0)),
      height: HEIGHT - 8,
    }),
    svg("line", { x1: at(0), x2: at(0), y1: 0, y2: HEIGHT }),
  );
}
