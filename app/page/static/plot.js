/* Plots by the chart library, fetched when the first is drawn. Beside each stands a table with the same numbers, which
   is all there is until the library arrives, or if it does not.

   Colours are roles ("good", "fair", "bad", "mark", "ink", "faint") that page.css gives for light and dark. */

import { el, svg } from "/page/dom.js";

const LIBRARY = "/page/plotly.min.js";
const ROLES = ["ink", "faint", "line", "mark", "good", "fair", "bad", "tint", "sheet"];
/* Elements with these ids keep the library from adding styles of its own to the page, which the policy refuses: its
   general rules, which page.css has instead, and those of maps. A test in a browser tells if they change. */
const STYLE_IDS = [
  "plotly.js-style-global",
  "9f215cf04c5486422605d13261cb87401f4e7763b6296af81e98efbc0130da53",
];
const STILL = { displayModeBar: false, scrollZoom: false, doubleClick: false, showTips: false };

let loading = null;

function library() {
  loading ??= new Promise((resolve, reject) => {
    document.head.append(...STYLE_IDS.map((id) => el("meta", { id, class: "no-inline-styles" })));
    const script = el("script", { src: LIBRARY, async: true });
    script.addEventListener("load", () => resolve(globalThis.Plotly));
    script.addEventListener("error", () => {
      loading = null;
      script.remove();
      reject(new Error("the chart library did not load"));
    });
    document.head.append(script);
  });
  return loading;
}

/* Colours of the roles as page.css has them now. */
function palette() {
  const styles = getComputedStyle(document.documentElement);
  return Object.fromEntries(ROLES.map((role) => [role, styles.getPropertyValue(`--${role}`).trim()]));
}

function seeThrough(colour, opacity) {
  const [r, g, b] = [1, 3, 5].map((at) => Number.parseInt(colour.slice(at, at + 2), 16));
  return `rgba(${r},${g},${b},${opacity})`;
}

/* A line through points, [{x, y}] as arrays. */
export const line = ({ x, y, name, role = "mark", dash = "solid", hover }) => (colours) => [
  { x, y, name, mode: "lines", line: { color: colours[role], width: 2.5, dash }, hovertemplate: hover ?? "%{y}" },
];

/* A shaded range between two curves. */
export const band = ({ x, low, high, name, role = "mark" }) => (colours) => [
  { x, y: low, mode: "lines", line: { width: 0 }, hoverinfo: "skip", showlegend: false },
  {
    x,
    y: high,
    name,
    mode: "lines",
    line: { width: 0 },
    fill: "tonexty",
    fillcolor: seeThrough(colours[role], 0.25),
    hoverinfo: "skip",
  },
];

/* Points with a range each, along y or, with `across`, along x. `low` and `high` are ends, not lengths. `roles`,
   `symbols` and `size` may be one for all or one for each. */
export const ranges =
  ({ x, y, low, high, name, roles = "mark", symbols = "circle", across = false, text, size = 9 }) =>
  (colours) => {
    const middle = across ? x : y;
    const colour = (role) => colours[role];
    const bars = {
      type: "data",
      symmetric: false,
      array: high.map((value, i) => value - middle[i]),
      arrayminus: low.map((value, i) => middle[i] - value),
      thickness: 2,
      width: 4,
    };
    // Bars of one trace have one colour: a trace for each role.
    const each = Array.isArray(roles) ? roles : middle.map(() => roles);
    const shapes = Array.isArray(symbols) ? symbols : middle.map(() => symbols);
    const sizes = Array.isArray(size) ? size : middle.map(() => size);
    return [...new Set(each)].map((role) => {
      const own = (values) => values.filter((_, i) => each[i] === role);
      return {
        x: own(x),
        y: own(y),
        name,
        text: text ? own(text) : undefined,
        mode: "markers",
        marker: { color: colour(role), size: own(sizes), opacity: 1, symbol: own(shapes), line: { color: colour(role), width: 1.5 } },
        [across ? "error_x" : "error_y"]: { ...bars, array: own(bars.array), arrayminus: own(bars.arrayminus), color: colour(role) },
        hovertemplate: text ? "%{text}<extra></extra>" : undefined,
      };
    });
  };

function axis({ title, ...given } = {}, colours) {
  return {
    title: { text: title, standoff: 8 },
    color: colours.ink,
    gridcolor: colours.line,
    linecolor: colours.faint,
    zeroline: false,
    fixedrange: true,
    automargin: true,
    ticks: "outside",
    tickcolor: colours.faint,
    ...given,
  };
}

/* Draw a figure.

   `label` says in a sentence what it shows; `series` is a list of what line, band and ranges return (or of functions
   from colours to traces of the library); `x` and `y` are axes, in the library's words, plus `title` as text; `table` is
   {head: [text], rows: [[text]]} with the same numbers; `more(colours)` may add to the layout; `note` is a line below;
   `open` shows the table. */
export function plot({ label, series, x, y, table, height = 260, more, note, open = false }) {
  const place = el("div", { class: "plot", role: "img", "aria-label": label });
  place.append(svg("svg", { width: "100%", height, "aria-hidden": "true" }));
  const numbers = el(
    "details",
    { class: "numbers", open },
    el("summary", {}, "The same as a table"),
    el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": `Table: ${label}` }, tableOf(table)),
  );
  const figure = el("figure", { class: "figure" }, place, note ? el("p", { class: "hint" }, note) : null, numbers);

  async function draw() {
    try {
      const charts = await library();
      if (!place.clientWidth) return;
      const colours = palette();
      place.replaceChildren();
      await charts.newPlot(
        place,
        series.flatMap((traces) => traces(colours)),
        {
          width: place.clientWidth,
          height,
          margin: { l: 8, r: 12, t: 8, b: 8 },
          paper_bgcolor: "rgba(0,0,0,0)",
          plot_bgcolor: "rgba(0,0,0,0)",
          font: { family: getComputedStyle(document.body).fontFamily, size: 14, color: colours.ink },
          hoverlabel: { bgcolor: colours.sheet, bordercolor: colours.ink, font: { color: colours.ink } },
          showlegend: false,
          dragmode: false,
          xaxis: axis(x, colours),
          yaxis: axis(y, colours),
          ...more?.(colours),
        },
        STILL,
      );
    } catch (fault) {
      if (!figure.isConnected) return;
      place.replaceChildren(el("p", { class: "hint" }, "The plot could not be drawn; its numbers stand in the table."));
      place.removeAttribute("role");
      numbers.open = true;
      if (globalThis.Plotly) console.error(fault);
    }
  }

  const scheme = matchMedia("(prefers-color-scheme: dark)");
  const recolour = () => (figure.isConnected ? draw() : scheme.removeEventListener("change", recolour));
  scheme.addEventListener("change", recolour);
  // Drawn once it is in the page and in sight of it, and again when its width changes.
  let drawnAt = 0;
  new ResizeObserver(() => {
    if (place.clientWidth === drawnAt) return;
    drawnAt = place.clientWidth;
    if (drawnAt) draw();
  }).observe(place);
  return figure;
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
