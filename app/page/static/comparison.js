/* The answer to a comparison: one sentence, the routes side by side, why, what it rests on, what to mind. */

import { answerParts } from "/page/asking.js";
import { draft, requestOf } from "/page/batch.js";
import { planWords } from "/page/boxes/change.js";
import { actList, checklist } from "/page/cautions.js";
import { el, replace } from "/page/dom.js";
import { evidence } from "/page/evidence.js";
import { departureQuestion } from "/page/far_dates.js";
import { showAssumed } from "/page/fields.js";
import { inPageWords } from "/page/page_words.js";
import { outcome, outcomeDetails } from "/page/outcome.js";
import { count, date, isWide, money, percent, said } from "/page/settings.js";
import { worthKnowing } from "/page/worth_knowing.js";

/* "1 plant in 4", as the draft says it. */
const bearable = () => `${draft().bearable.lost} in ${draft().bearable.of}`;

function coldest(data, known) {
  const lines = new Set(data.routes[0].lines.map((row) => row.genus.toLowerCase()));
  const own = known.filter((row) => lines.has(row.genus.toLowerCase()));
  if (!own.length) return null;
  const first = own.reduce((a, b) => (b.chill_threshold_c > a.chill_threshold_c ? b : a));
  return { genus: first.genus, celsius: first.chill_threshold_c };
}

function spanOf(data, cold) {
  const all = data.routes.flatMap((route) => route.inside_by_day.flatMap((day) => [day.p05, day.p95]));
  if (cold) all.push(cold.celsius);
  return [Math.floor(Math.min(...all) - 2), Math.ceil(Math.max(...all) + 2)];
}

/* What boxes apart would cost and buy, where neither the reason nor what to do says it already. */
function splitWords(data) {
  const told = [data.reason, ...data.cautions.map((caution) => caution.text)];
  return data.routes
    .filter((route) => route.splitting && !told.some((text) => text.includes(route.splitting.text)))
    .map((route) => el("p", {}, el("strong", {}, `${route.name}: `), said(route.splitting.text)));
}

/* From which size the dearer route is ahead; a further box may throw it back, so that at the batch's own size it is not. */
export function breakEvenWords({ break_even: found, routes }, currency) {
  if (!found) return null;
  const [to, from] = [found.to, found.from].map((name) => routes.find((route) => route.name === name));
  const size =
    `${found.to} overtakes ${found.from} from about ${count(found.plants)} plants of this mix, ` +
    `a batch that sells for ${money(found.batch_sale_value, currency)}`;
  const back = to.sent >= found.plants && to.margin.mean < from.margin.mean;
  const words = back
    ? `${size}, but only until a further box is needed: at your ${count(to.sent)}, ${found.from} is ahead.`
    : `${size}; where a further box is needed it may fall behind again.`;
  return el("p", {}, words);
}

const openParts = new Set();

/* Folded parts that were open stay open in the next answer. */
export function keepOpen(answer) {
  for (const part of answer.querySelectorAll("details")) {
    const name = `${part.closest("section")?.getAttribute("aria-label")}/${part.querySelector("summary").textContent}`;
    if (openParts.has(name)) part.open = true;
    part.addEventListener("toggle", () => (part.open ? openParts.add(name) : openParts.delete(name)));
  }
}

/* Draw the answer to a comparison into `answer` and what was assumed into `form`; return the leading sentence. */
export function drawComparison({ data, body, answer, form, known, own }) {
  const { currency } = body;
  const lead = said(data.lead);
  const { routes: asked, place } = requestOf();
  const left = showLeftOut(form, data, place);
  const cold = coldest(data, known);
  const span = spanOf(data, cold);
  const skipped = draft().routes.filter((_, i) => !asked.includes(i)).map((route) => route.name);
  replace(
    answer,
    ...answerParts(
      [
        el("h2", { class: "lead", tabindex: "-1" }, lead),
        departureQuestion(body.ship_date) ? el("p", { class: "notice" }, departureQuestion(body.ship_date)) : null,
        skipped.length ? el("p", { class: "hint" }, `Left out for want of freight: ${skipped.join(", ")}.`) : null,
        actList(data.cautions),
        el(
          "div",
          { class: "outcomes" },
          data.routes.map((route, i) =>
            outcome(route, {
              currency,
              bearable: bearable(),
              recommended: route.name === data.recommended,
              alone: data.routes.length === 1,
              plan: { href: `#boxes/plan/${asked[i]}`, text: planWords("Plan a box this way") },
            }),
          ),
        ),
        whyPart(data, currency),
      ],
      [
        data.routes.map((route) => outcomeDetails(route, { currency, span, cold, alone: data.routes.length === 1 })),
        evidence(body, data, { currency, signal: own }),
        worthKnowing(body, { signal: own }),
        el(
          "div",
          {},
          checklist(data.cautions, ["no_own_record"]), // said under what it rests on
          alsoAssumed(left),
        ),
      ],
    ),
  );
  keepOpen(answer);
  return lead;
}

/* What follows the lead in words: open where there is room, folded on a phone. */
function whyPart(data, currency) {
  const more = [
    restOf(data) ? el("p", {}, restOf(data)) : null,
    breakEvenWords(data, currency),
    splitWords(data),
  ].flat().filter(Boolean);
  if (!more.length) return null;
  return el("details", { class: "folded", open: isWide() }, el("summary", {}, "Why"), more);
}

/* What the reason says after the lead; `dates` as in `date` of settings.js. */
export const restOf = (data, dates) => said(data.reason.slice(data.lead.length).trim(), dates);

/* Say at each field left empty what was taken instead, or that it is not counted and what is usual; return what no field
   takes. */
export function showLeftOut(form, data, place) {
  return showAssumed(form, [
    ...data.assumed.map((one) => ({ pointer: place(one.pointer), text: assumedText(one) })),
    ...data.not_counted.map((one) => ({ pointer: place(one.pointer), text: notCountedText(one), left: true })),
  ]);
}

/* What was taken where no field says it, folded. */
export function alsoAssumed(left) {
  const taken = left.filter((one) => !one.left); // what is not counted stands beside the landed cost
  if (!taken.length) return null;
  return el(
    "details",
    { class: "numbers" },
    el("summary", {}, `Also assumed (${taken.length})`),
    el("ul", {}, taken.map(({ pointer, text }) => el("li", {}, `${pointer}: ${text}`))),
  );
}

const notCountedText = ({ usual }) =>
  usual ? `Not counted. Usual: ${count(usual.low)} to ${count(usual.high)} ${usual.currency}.` : "Not counted.";

const MONDAYS = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]; // 1 February 2027 was a Monday

/* "sat, sun" -> "Saturday, Sunday", as the reader writes them. */
const weekdayNames = (codes) =>
  codes
    .split(", ")
    .map((code) => date(`2027-02-0${MONDAYS.indexOf(code) + 1}`, { weekday: "long" }))
    .join(", ");

/* What was taken, and why. */
function assumedText({ pointer, value, why }) {
  const isShare = /(_rate|_share|chance)$/.test(pointer) && typeof value === "number";
  const shown = isShare ? percent(value) : typeof value === "number" ? String(Number(value.toFixed(2))) : String(value);
  if (pointer.endsWith("/open_dates")) return `Taken as not worked, ${weekdayNames(shown)}: ${inPageWords(why)}.`;
  const more = pointer.endsWith("/transit_days/p50") ? " Waits on closed days and for papers come on top." : "";
  return `Taken as ${shown}: ${inPageWords(why)}.${more}`;
}
