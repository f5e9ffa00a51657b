/* Twenty equally likely shipments as dots: each stands in the row of the number of plants that arrive healthy in it, few
   below and all above. Every drawing has the same height and reaches from none to all that were sent, so that those of
   routes side by side are on one scale. */

import { el, svg } from "/page/dom.js";
import { tableOf } from "/page/plot.js";
import { count } from "/page/settings.js";

const WIDTH = 180;
const HEIGHT = 184;
const EDGE = 8;
const NUMBERS = 34; // the room of the numbers at the left
const DOT = 7;

function stacks(strip, sent) {
  const places = Math.floor((HEIGHT - 2 * EDGE) / DOT);
  const step = Math.max(1, Math.ceil((sent + 1) / places));
  const lengths = new Map();
  return strip.map((healthy) => {
    const place = Math.min(Math.floor(healthy / step) * step + (step - 1) / 2, sent);
    const before = lengths.get(place) ?? 0;
    lengths.set(place, before + 1);
    return { place, before };
  });
}

/* The drawing alone. `strip` is 20 counts in ascending order, `sent` the plants sent, `mean` the average; `faint` draws
   rings instead. */
export function drawnStrip({ strip: counts, sent, mean, title, faint = false }) {
  const at = (healthy) => HEIGHT - EDGE - DOT / 2 - (healthy / Math.max(sent, 1)) * (HEIGHT - 2 * EDGE - DOT);
  const label = `${title}: healthy plants of ${sent} in 20 equally likely shipments: ${counts.join(", ")}. ${count(mean)} on average.`;
  return svg(
    "svg",
    { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, class: `strip${faint ? " faint" : ""}`, role: "img", "aria-label": label },
    [0, sent / 2, sent]
      .filter((tick) => Number.isInteger(tick))
      .map((tick) => [
        svg("line", { class: "guide", x1: NUMBERS, x2: WIDTH, y1: at(tick), y2: at(tick) }),
        svg("text", { x: NUMBERS - 6, y: at(tick), "text-anchor": "end", "dominant-baseline": "central" }, count(tick)),
      ]),
    svg("line", { class: "axis", x1: NUMBERS, x2: NUMBERS, y1: EDGE, y2: HEIGHT - EDGE }),
    stacks(counts, sent).map(({ place, before }) =>
      svg("circle", { cx: NUMBERS + 2 + DOT / 2 + before * DOT, cy: at(place), r: DOT / 2 - 0.6 }),
    ),
    svg("line", { class: "mean", x1: NUMBERS, x2: WIDTH, y1: at(mean), y2: at(mean) }),
  );
}

/* The drawing with its title, by itself. */
export const strip = (of) => el("figure", { class: "figure" }, el("figcaption", {}, of.title), drawnStrip(of));

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
