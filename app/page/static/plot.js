/* Plots as SVG made here, with a table of the same numbers below each: nothing is told by a plot alone. */

import { el, newId, svg } from "/page/dom.js";
import { drawAxes } from "/page/plot_axes.js";

const READ = "Point at the plot to read a value.";

/* A figure.

   `label` says in a sentence what it shows, `note` how to read it; `series` is a list of what line, band, rule and ranges
   of plot_marks.js return, the first at the back; `x` and `y` are axes as in plot_axes.js; `table` is {head: [text],
   rows: [[text]]} with the same numbers; `height` is in rem. */
export function plot({ label, note, series, x, y, table, height: rem }) {
  const described = newId("plot");
  const drawing = svg("svg", {
    width: "100%",
    height: `${rem}rem`,
    role: "img",
    "aria-label": label,
    "aria-describedby": described,
  });
  const ring = svg("circle", { class: "ring", r: 8, visibility: "hidden" });
  const pointed = el("p", { class: "hint pointed", "aria-hidden": "true" }, READ);
  let points = [];

  function draw() {
    const { width, height } = drawing.getBoundingClientRect();
    drawing.replaceChildren();
    drawing.setAttribute("viewBox", `0 0 ${width} ${height}`); // so that print, which is narrower, shrinks it
    const places = drawAxes(drawing, { x, y, width, height });
    const drawn = series.map((mark) => mark(places));
    drawing.append(...drawn.flatMap(({ nodes }) => nodes), ring);
    points = drawn.flatMap(({ points: own }) => own);
    ring.setAttribute("visibility", "hidden");
  }

  function read({ clientX, clientY }) {
    if (!points.length) return;
    const { left, top } = drawing.getBoundingClientRect();
    const distance = (point) => Math.hypot(point.x + left - clientX, point.y + top - clientY);
    const nearest = points.reduce((one, other) => (distance(other) < distance(one) ? other : one));
    ring.setAttribute("cx", nearest.x);
    ring.setAttribute("cy", nearest.y);
    ring.setAttribute("visibility", "visible");
    pointed.textContent = nearest.text;
  }
  for (const event of ["pointermove", "pointerdown"]) drawing.addEventListener(event, read);

  // Drawn once it is in sight of the page, since only then it has a width, and again when that changes.
  let drawnAt = 0;
  new ResizeObserver(([{ contentRect }]) => {
    if (!contentRect.width || contentRect.width === drawnAt) return;
    drawnAt = contentRect.width;
    draw();
  }).observe(drawing);

  return el(
    "figure",
    { class: "figure" },
    el("div", { class: "plot" }, drawing),
    pointed,
    el("p", { class: "hint", id: described }, note),
    el(
      "details",
      { class: "numbers" },
      el("summary", {}, "The same as a table"),
      el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": `Table: ${label}` }, tableOf(table)),
    ),
  );
}

/* A table of text; cells that begin with a digit or sign stand to the right. */
export function tableOf({ head, rows, caption }) {
  const isNumber = (column) => rows.length > 0 && rows.every((row) => /^[-+−€$£¥]?\s?\d|^–?$/.test(String(row[column] ?? "")));
  const right = head.map((_, column) => column > 0 && isNumber(column));
  return el(
    "table",
    {},
    caption ? el("caption", {}, caption) : null,
    el("thead", {}, el("tr", {}, head.map((text, i) => el("th", { scope: "col", class: right[i] ? "n" : null }, text)))),
    el(
      "tbody",
      {},
      rows.map((row) =>
        el(
          "tr",
          {},
          row.map((cell, i) =>
            i === 0 ? el("th", { scope: "row" }, cell) : el("td", { class: right[i] ? "n" : null }, cell),
          ),
        ),
      ),
    ),
  );
}
