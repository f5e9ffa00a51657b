/* Axes of a plot: where a value lies in its drawing, ticks and their lines. One unit of the drawing is one pixel of the
   page, so that text keeps its size at every width. */

import { svg } from "/page/dom.js";

const ROUND = [1, 2, 5, 10];
/* In heights of the text: from a label to the axis, round a label, lines of text below the axis. */
const GAP = 0.5;
const LINE = 1.4;

/* About `n` round values within a range, as ticks. */
export function roundTicks([low, high], n = 5) {
  const power = 10 ** Math.floor(Math.log10((high - low) / n));
  const step = power * ROUND.find((times) => times * power * n >= high - low);
  const first = Math.ceil(low / step);
  return Array.from({ length: Math.floor(high / step) - first + 1 }, (_, i) => {
    const at = Number(((first + i) * step).toPrecision(12));
    return { at, text: String(at).replace("-", "−") };
  });
}

/* From a value to its place between `from` and `to`. */
function placing({ range: [low, high], log = false }, from, to) {
  const of = log ? Math.log : Number;
  return (value) => from + ((of(value) - of(low)) / (of(high) - of(low))) * (to - from);
}

/* Those labels that touch none before them in the list, which goes by importance. */
function apart(labels, gap) {
  const kept = [];
  for (const label of labels) {
    const reach = (other) => (label.width + other.width) / 2 + gap;
    if (kept.every((other) => Math.abs(label.place - other.place) >= reach(other))) kept.push(label);
  }
  return kept;
}

/* Draw the axes of a drawing that is in the page, `width` and `height` in pixels.

   An axis is {range: [low, high], ticks: [{at, text}], title, log}; of the ticks of x those that would touch an earlier
   one of the list are left out. Returned are x and y, from value to place, and the edges: left, right, top, bottom. */
export function drawAxes(drawing, { x, y, width, height }) {
  const em = Number.parseFloat(getComputedStyle(drawing).fontSize);
  const written = (text, attributes) => {
    const node = svg("text", attributes, text);
    drawing.append(node);
    return node;
  };
  const widthOf = (node) => node.getComputedTextLength();

  const rows = y.ticks.map(({ at, text }) => ({ at, node: written(text, { class: "tick-y" }) }));
  const columns = x.ticks.map(({ at, text }) => ({ at, node: written(text, { class: "tick-x" }) }));
  const left = Math.max(...rows.map(({ node }) => widthOf(node))) + GAP * em;
  const right = width - Math.max(...columns.map(({ node }) => widthOf(node))) / 2;
  const top = y.title ? LINE * em : GAP * em;
  const bottom = height - (x.title ? 2 : 1) * LINE * em - GAP * em;
  const [placeX, placeY] = [placing(x, left, right), placing(y, bottom, top)];

  if (y.title) written(y.title, { class: "title", x: 0, y: em });
  if (x.title) written(x.title, { class: "title", x: (left + right) / 2, y: height - GAP * em, "text-anchor": "middle" });
  for (const { at, node } of rows) {
    node.setAttribute("x", left - GAP * em);
    node.setAttribute("y", placeY(at));
    drawing.append(svg("line", { class: "grid", x1: left, x2: right, y1: placeY(at), y2: placeY(at) }));
  }
  const labels = columns.map(({ at, node }) => ({ node, place: placeX(at), width: widthOf(node) }));
  const kept = apart(labels, em);
  for (const { node, place } of labels) {
    if (!kept.some((label) => label.node === node)) {
      node.remove();
      continue;
    }
    node.setAttribute("x", place);
    node.setAttribute("y", bottom + LINE * em);
    drawing.append(svg("line", { class: "grid", x1: place, x2: place, y1: top, y2: bottom + (GAP * em) / 2 }));
  }
  drawing.append(svg("line", { class: "axis", x1: left, x2: right, y1: bottom, y2: bottom }));
  return { x: placeX, y: placeY, left, right, top, bottom, em };
}
