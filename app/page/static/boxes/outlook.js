/* What to expect of a box on its way. */

import { get } from "/page/api.js";
import { path, plantName } from "/page/boxes/words.js";
import { el, svg } from "/page/dom.js";
import { cautionList, failure } from "/page/notices.js";
import { tableOf } from "/page/plot.js";
import { count, date, decimal, moment, percent, said } from "/page/settings.js";
import { stacked } from "/page/stacked.js";

const DAY = { weekday: "short", day: "numeric", month: "short" };
const SURE = 0.9;
const NEARLY = 0.95;

const day = (at) => moment(at, DAY);

const ordered = (lines) => lines.reduce((sum, line) => sum + line.quantity, 0);
const expected = (lines) => lines.reduce((sum, line) => sum + line.quantity * line.healthy.mean, 0);

/* The first day by whose end the chance has reached `share`. */
const dayOf = (days, share) => days.find(({ chance }) => chance >= share);

function whenWords(days) {
  const [likely, sure] = [dayOf(days, 0.5), dayOf(days, SURE)];
  if (!likely) return "When it comes is wide open.";
  const same = sure && sure.date === likely.date;
  const first = `Opened by ${date(likely.date, DAY)} with ${percent(likely.chance)}`;
  return `${first}${sure && !same ? `, by ${date(sure.date, DAY)} with ${percent(sure.chance)}` : ""}.`;
}

/* "Late since Mon, 23 Nov: 9 in 10 such boxes were open by then. " of the moment that the server gives, if it does. */
export const lateWords = (since) => (since ? `Late since ${day(since)}: 9 in 10 such boxes were open by then. ` : "");

/* One paragraph for the list; fills itself, and says nothing if there is no answer. */
export function shortOutlook(id, lines, signal) {
  const place = el("p", { class: "hint" }, "Outlook …");
  get(path(id, "outlook"), { signal }).then(
    (answer) => {
      const healthy = `${count(expected(answer.lines))} of ${count(ordered(answer.lines))}`;
      place.className = "";
      place.textContent = `${whenWords(answer.arrival_by)} About ${healthy} healthy then.`;
    },
    () => (place.textContent = ""),
  );
  return place;
}

/* The whole outlook, as a section that fills itself. */
export function outlookSection(id, signal) {
  const place = el("div", {}, el("p", {}, "Working it out …"));
  const load = () =>
    get(path(id, "outlook"), { signal }).then(
      (answer) => place.replaceChildren(...draw(answer)),
      (fault) => {
        if (!signal.aborted) place.replaceChildren(failure(fault, load));
      },
    );
  load();
  return el("section", { "aria-labelledby": "outlook" }, el("h2", { id: "outlook" }, "Outlook"), place);
}

function draw(answer) {
  const { days_left: left } = answer;
  return [
    el(
      "p",
      { class: "lead" },
      `${lateWords(answer.late_since)}${whenWords(answer.arrival_by)} About ${count(expected(answer.lines))} of ${count(ordered(answer.lines))} plants healthy then.`,
    ),
    el(
      "p",
      {},
      `On its way for ${decimal(answer.elapsed_days)} days; ${decimal(left.p50)} more expected, ${decimal(left.p10)} to ${decimal(left.p90)} in 8 of 10 cases.`,
      answer.held ? " It is held up." : "",
      answer.heat_pack_ends_at ? ` The heat pack ends ${moment(answer.heat_pack_ends_at)}.` : "",
    ),
    el("h3", {}, "Opened by the end of"),
    byDay(untilSure(answer.arrival_by)),
    el("p", { class: "hint" }, lastWords(answer.arrival_by)),
    el("h3", {}, "A plant at unboxing"),
    el(
      "div",
      { class: "scroll", tabindex: "0", role: "region", "aria-label": "Table: chances of each line" },
      stacked(chances(answer.lines)),
    ),
    el("p", { class: "hint" }, "The range in brackets holds in 8 of 10 cases."),
    answer.helps.length ? el("h3", {}, "What helps now") : "",
    answer.helps.length
      ? el(
          "ul",
          { class: "cautions" },
          answer.helps.map((help) => el("li", {}, said(help.text))),
        )
      : "",
    answer.cautions.length
      ? el(
          "details",
          {},
          el("summary", {}, `What to mind (${count(answer.cautions.length)})`),
          cautionList(answer.cautions, { said, date }),
        )
      : "",
  ];
}

/* The days until the box is here in 19 of 20 cases; what comes after is said in a sentence. */
function untilSure(days) {
  const last = days.findIndex(({ chance }) => chance >= NEARLY);
  return last < 0 ? days : days.slice(0, last + 1);
}

function lastWords(days) {
  const last = days.at(-1);
  return last && last !== untilSure(days).at(-1)
    ? `By ${date(last.date, DAY)} with ${percent(Math.min(last.chance, 0.99))} or more.`
    : "";
}

/* One bar a day; the number beside it says the same. */
function byDay(days) {
  return el(
    "table",
    { class: "bars" },
    el(
      "thead",
      { class: "unseen" },
      el(
        "tr",
        {},
        ["Day", "Chance that it is opened by its end"].map((text) => el("th", { scope: "col" }, text)),
      ),
    ),
    el(
      "tbody",
      {},
      days.map(({ date: day, chance }) =>
        el(
          "tr",
          {},
          el("th", { scope: "row" }, date(day, DAY)),
          el("td", {}, el("span", { class: "day-chance" }, bar(chance), el("span", {}, percent(chance)))),
        ),
      ),
    ),
  );
}

const bar = (share) =>
  svg(
    "svg",
    { viewBox: "0 0 100 10", preserveAspectRatio: "none", "aria-hidden": "true" },
    svg("rect", { class: "track", width: 100, height: 10 }),
    svg("rect", { class: "filled", width: 100 * share, height: 10 }),
  );

function chances(lines) {
  const told = ({ mean, low, high }) => `${percent(mean)} (${percent(low)}–${percent(high)})`;
  return tableOf({
    head: ["Plant", "Healthy", "Damaged", "Dead", "Healthy 2 weeks on"],
    rows: lines.map((line) => [
      `${count(line.quantity)} ${plantName(line)}`,
      told(line.healthy),
      told(line.damaged),
      told(line.dead),
      told(line.healthy_two_weeks),
    ]),
  });
}
