/* An answer's cautions: the few to act on as a list, the others as a checklist by moment, folded. */

import { el } from "/page/dom.js";
import { count, date, said } from "/page/settings.js";

const MOMENTS = [
  ["before_paying", "Before paying"],
  ["packing", "When it is packed"],
  ["on_the_way", "While it travels"],
  ["arrival", "When it arrives"],
];

function item(caution) {
  const notes = [
    caution.decided_by ? `Decided by: ${caution.decided_by}.` : null,
    caution.checked ? `Checked ${date(caution.checked)}.` : null,
  ].filter(Boolean);
  return el(
    "li",
    {},
    said(caution.text),
    notes.length ? el("span", { class: "hint" }, ` ${notes.join(" ")}`) : null,
  );
}

/* What is worth doing, the most worth first; nothing where nothing is. */
export function actList(cautions) {
  const acts = cautions.filter((caution) => caution.act);
  if (!acts.length) return null;
  return el(
    "section",
    { class: "acts", "aria-label": "What to do" },
    el("h2", {}, "What to do"),
    el("ol", {}, acts.map((caution) => el("li", {}, said(caution.text)))),
  );
}

/* The standing ones, by when to think of them. `told` are codes that the page says elsewhere. */
export function checklist(cautions, told = []) {
  const standing = cautions.filter((caution) => !caution.act && !told.includes(caution.code));
  if (!standing.length) return null;
  return el(
    "details",
    { class: "folded" },
    el("summary", {}, `Checklist (${count(standing.length)})`),
    MOMENTS.map(([moment, name]) => {
      const own = standing.filter((caution) => caution.moment === moment);
      return own.length ? [el("h3", {}, name), el("ul", { class: "cautions" }, own.map(item))] : null;
    }),
  );
}
