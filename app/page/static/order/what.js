/* What to order of a list: which lines earn their cost, by which route, and how many within a budget. */

import { amountInput } from "/page/amounts.js";
import { answerParts, asking } from "/page/asking.js";
import { draft, missing, requestOf, setAt, takeDraft, valueAt } from "/page/batch.js";
import { plantName } from "/page/boxes/words.js";
import { checklist } from "/page/cautions.js";
import { alsoAssumed, keepOpen, showLeftOut } from "/page/comparison.js";
import { announce, el, replace } from "/page/dom.js";
import { field } from "/page/fields.js";
import { batchFold } from "/page/form_batch.js";
import { lineFields } from "/page/form_lines.js";
import { sideBar } from "/page/order/gauge.js";
import { tableOf } from "/page/plot.js";
import { boxesOf, many } from "/page/plural.js";
import { count, money, percent, said, settings } from "/page/settings.js";
import { stacked } from "/page/stacked.js";

const BUDGET = "/order/budget";

function ask() {
  const { body, place } = requestOf();
  const budget = valueAt(BUDGET) ?? null;
  return { path: "/v1/wish-list", body: budget === null ? body : { ...body, budget }, place, wanted: missing() };
}

export async function show(root, signal) {
  await asking({
    root,
    signal,
    heading: "Order",
    sentence: "What to order? Put down all that comes into question, each with the most that you would take.",
    ask,
    draw,
    fields,
  });
}

async function fields(changed) {
  const set = (value) => {
    setAt(BUDGET, value);
    changed();
  };
  const elsewhere = ask().wanted.some(({ pointer }) => !pointer.startsWith("/lines/"));
  return [
    el(
      "fieldset",
      {},
      el("legend", {}, "Budget"),
      el(
        "div",
        { class: "fields" },
        field("May cost in all", amountInput(valueAt(BUDGET), set), {
          pointer: "/budget",
          unit: settings().currency,
          hint: "Landed. Empty: no limit.",
        }),
      ),
    ),
    await lineFields(changed),
    await batchFold(changed, { open: elsewhere, lines: false }),
  ];
}

function draw({ data, body, answer, form }) {
  const { currency } = body;
  const { place } = requestOf();
  const lead = said(data.lead);
  const left = showLeftOut(form, data, place);
  const each = data.routes.flatMap((route) => route.lines.map((line) => line.margin_per_plant));
  const scale = [Math.min(0, ...each), Math.max(0, ...each)];
  replace(
    answer,
    ...answerParts(
      [
        el("h2", { class: "lead", tabindex: "-1" }, lead),
        data.best
          ? el(
              "div",
              { class: "actions" },
              el("button", { type: "button", on: { click: () => take(data.best, place) } }, "Take this order into the batch"),
              el("span", { class: "hint" }, `It fills ${boxesOf(data.best.boxes)}.`),
            )
          : null,
        el(
          "div",
          { class: "scroll", tabindex: "0", role: "region", "aria-label": "Table: line by line" },
          stacked(el(
            "table",
            { class: "orders wishes" },
            el("caption", {}, "Margin of one plant by each route, its share of all costs counted, and beneath its chance to be healthy two weeks on"),
            el(
              "thead",
              {},
              el(
                "tr",
                {},
                el("th", { scope: "col" }, "Plant"),
                el("th", { scope: "col", class: "n" }, "Order"),
                data.routes.map((route) =>
                  el(
                    "th",
                    { scope: "col" },
                    route.name,
                    route.name === data.best?.route ? el("span", { class: "aside" }, " ✓ this order") : null,
                  ),
                ),
              ),
            ),
            el("tbody", {}, body.lines.map((line, i) => row(line, i, data, { currency, scale }))),
          )),
        ),
      ],
      [
        reasons(data),
        el(
          "details",
          { class: "numbers" },
          el("summary", {}, "The whole list, route by route"),
          wholeList(data, currency),
          el("p", { class: "hint" }, data.cost_shares),
        ),
        checklist(data.cautions),
        alsoAssumed(left),
      ],
    ),
  );
  keepOpen(answer);
  return lead;
}

function row(line, i, data, { currency, scale }) {
  const ordered = data.best?.quantities[i] ?? 0;
  return el(
    "tr",
    { class: ordered ? "chosen" : "blocked" },
    el("th", { scope: "row" }, plantName(line)),
    el(
      "td",
      { class: "n" },
      el("strong", {}, ordered ? count(ordered) : "none"),
      el("span", { class: "aside" }, `of ${count(line.quantity)}`),
    ),
    data.routes.map((route) => {
      const own = route.lines[i];
      return el(
        "td",
        {},
        sideBar(own.margin_per_plant, scale),
        money(own.margin_per_plant, currency),
        el("span", { class: "aside" }, percent(own.healthy_two_weeks.mean)),
      );
    }),
  );
}

/* Why a line loses money, once a line: by the route on which the order goes, else by all. */
function reasons(data) {
  const route = data.routes.find(({ name }) => name === data.best?.route) ?? data.routes[0];
  const losing = route.lines.filter((line) => line.reason);
  if (!losing.length) return null;
  return el(
    "details",
    { class: "numbers", open: true },
    el("summary", {}, `${many(losing.length, "line")} that ${losing.length === 1 ? "loses" : "lose"} money by ${route.name}`),
    el("ul", { class: "cautions" }, losing.map((line) => el("li", {}, el("strong", {}, plantName(line)), `: ${said(line.reason)}`))),
  );
}

const wholeList = (data, currency) =>
  el(
    "div",
    { class: "scroll", tabindex: "0", role: "region", "aria-label": "Table: the whole list by route" },
    tableOf({
      head: ["Route", "Boxes", "Landed", "Margin", "9 in 10", "Loss bearable"],
      rows: data.routes.map((route) => [
        route.name,
        count(route.boxes),
        money(route.landed_cost, currency),
        money(route.margin.mean, currency),
        `${money(route.margin.p05, currency)} to ${money(route.margin.p95, currency)}`,
        percent(route.chance_loss_within_limit),
      ]),
    }),
  );

/* The order in the place of the batch; lines that are left out go. The list can be brought back under Compare. */
function take(best, place) {
  const quantities = new Map(best.quantities.map((n, i) => [place(`/lines/${i}`), n]));
  const lines = draft().lines.flatMap((line, i) => {
    const quantity = quantities.get(`/lines/${i}`);
    return quantity ? [{ ...line, quantity }] : [];
  });
  takeDraft({ ...draft(), lines });
  announce("The order is in the batch.");
  location.hash = "#compare";
}
