/* Marks of a plot. Each takes values and returns a function from places (of drawAxes) to {nodes, points}: what is drawn,
   and where something can be read, [{x, y, text}].

   Colours are roles ("mark", "good", "bad", "faint", "ink") that page.css gives for light and dark. */

import { svg } from "/page/dom.js";

const RADIUS = 4.5;
const CAP = 4;

/* A line through points; `x`, `y` and `text`, what is read at each, are arrays. */
export const line =
  ({ x, y, text, role = "mark", dashed = false }) =>
  (at) => {
    const places = x.map((value, i) => ({ x: at.x(value), y: at.y(y[i]), text: text?.[i] }));
    const points = places.filter((place) => place.text);
    return {
      nodes: [
        svg("polyline", { class: `curve ${role}${dashed ? " dashed" : ""}`, points: joined(places) }),
        svg("g", { class: role }, points.map((point) => svg("circle", { class: "dot", cx: point.x, cy: point.y, r: 2 }))),
      ],
      points,
    };
  };

/* A shaded range between two curves. */
export const band =
  ({ x, low, high, role = "mark" }) =>
  (at) => {
    const along = (values) => x.map((value, i) => ({ x: at.x(value), y: at.y(values[i]) }));
    const outline = [...along(high), ...along(low).reverse()];
    return { nodes: [svg("polygon", { class: `band ${role}`, points: joined(outline) })], points: [] };
  };

/* A dashed line over the whole plot at a value of x or y, with words at its right end. */
export const rule =
  ({ x, y, text, role = "ink" }) =>
  (at) => {
    const ends =
      y === undefined
        ? { x1: at.x(x), x2: at.x(x), y1: at.top, y2: at.bottom }
        : { x1: at.left, x2: at.right, y1: at.y(y), y2: at.y(y) };
    const nodes = [svg("line", { class: `curve dashed ${role}`, ...ends })];
    if (text) {
      // Below the line where there is room.
      const below = ends.y1 + 1.5 * at.em < at.bottom;
      const place = { x: at.right, y: ends.y1 + (below ? 1.1 : -0.5) * at.em, "text-anchor": "end" };
      nodes.push(svg("text", { class: `words ${role}`, ...place }, text));
    }
    return { nodes, points: [] };
  };

/* Points with a range each, along y or, with `across`, along x. `low` and `high` are ends, not lengths; `shapes` are
   "circle", "open" (a circle) or "square". `roles` and `shapes` may be one for all or one for each. */
export const ranges =
  ({ x, y, low, high, text, roles = "mark", shapes = "circle", across = false }) =>
  (at) => {
    const of = (given, i) => (Array.isArray(given) ? given[i] : given);
    const points = x.map((value, i) => ({ x: at.x(value), y: at.y(y[i]), text: text[i] }));
    const nodes = points.map((point, i) =>
      svg(
        "g",
        { class: of(roles, i) },
        across ? spanAcross(at.x(low[i]), at.x(high[i]), point.y) : spanUp(at.y(low[i]), at.y(high[i]), point.x),
        dot(point, of(shapes, i)),
      ),
    );
    return { nodes, points };
  };

const joined = (places) => places.map(({ x, y }) => `${x.toFixed(1)},${y.toFixed(1)}`).join(" ");

const span = (path) => svg("path", { class: "span", d: path });
const spanAcross = (from, to, y) => span(`M${from} ${y}H${to}M${from} ${y - CAP}v${2 * CAP}M${to} ${y - CAP}v${2 * CAP}`);
const spanUp = (from, to, x) => span(`M${x} ${from}V${to}M${x - CAP} ${from}h${2 * CAP}M${x - CAP} ${to}h${2 * CAP}`);

function dot({ x, y }, shape) {
  if (shape !== "square") return svg("circle", { class: `dot ${shape}`, cx: x, cy: y, r: RADIUS });
  return svg("rect", { class: "dot square", x: x - RADIUS, y: y - RADIUS, width: 2 * RADIUS, height: 2 * RADIUS });
}
