/* How many of one kind to order, so that enough arrive healthy. */

import { countInput } from "/page/amounts.js";
import { answerParts, asking } from "/page/asking.js";
import { draft, keep, missing, requestOf, setAt, SUREST, surestWords, valueAt } from "/page/batch.js";
import { plantName } from "/page/boxes/words.js";
import { checklist } from "/page/cautions.js";
import { alsoAssumed, keepOpen, showLeftOut } from "/page/comparison.js";
import { announce, el, replace } from "/page/dom.js";
import { choice, field, numberInput } from "/page/fields.js";
import { batchFold } from "/page/form_batch.js";
import { gauge } from "/page/order/gauge.js";
import { tableOf } from "/page/plot.js";
import { boxesOf } from "/page/plural.js";
import { count, decimal, money, percent, said } from "/page/settings.js";

const USUAL = { sure: 9 };
const GIVEN = { line: "/order/line", healthy: "/order/healthy", sure: "/order/sure" };

/* The place in the draft of the line asked about. */
const asked = () => Math.min(valueAt(GIVEN.line) ?? 0, draft().lines.length - 1);
const wantedHealthy = () => valueAt(GIVEN.healthy) ?? draft().lines[asked()].quantity;

/* The order-size request of the draft. How many of the line itself are in the batch does not matter: that is asked. */
function ask() {
  const at = asked();
  const healthy = wantedHealthy();
  const lines = draft().lines.map((line, i) => (i === at ? { ...line, quantity: line.quantity ?? healthy } : line));
  const batch = { ...draft(), lines };
  const { body, place } = requestOf(batch);
  const wanted = missing(batch).filter(({ pointer }) => pointer !== `/lines/${at}/quantity`);
  if (!healthy) wanted.unshift({ pointer: "/target/healthy", text: "how many you want healthy" });
  const line = body.lines.findIndex((_, i) => place(`/lines/${i}`) === `/lines/${at}`);
  const sure = valueAt(GIVEN.sure) ?? USUAL.sure;
  const confidence = typeof sure === "number" ? Math.min(sure, sure <= 10 ? SUREST : sure) / 10 : sure;
  return { path: "/v1/order-size", body: { ...body, target: { line: Math.max(line, 0), healthy, confidence } }, place, wanted };
}

export async function show(root, signal) {
  await asking({
    root,
    signal,
    heading: "Order",
    sentence: "How many to order, so that enough arrive healthy? The other plants of the batch stay as they are.",
    ask,
    draw,
    fields,
  });
}

async function fields(changed) {
  const sentence = targetFields(changed);
  const redraw = () => {
    sentence.tell();
    changed();
  };
  return [sentence.node, await batchFold(redraw, { open: ask().wanted.length > 0 })];
}

/* "I want 20 Aglaonema healthy when I open the box, and want to be 9 in 10 sure." */
function targetFields(changed) {
  const slots = [];
  const set = (pointer) => (value) => {
    setAt(pointer, value);
    changed();
  };
  const blank = (label, input, pointer) => {
    const made = field(label, input, { pointer, hideLabel: true });
    slots.push(made.querySelector(".assumed"), made.querySelector(".error"));
    return [made.querySelector("label"), made.querySelector(".entry")];
  };
  const healthy = countInput(valueAt(GIVEN.healthy), set(GIVEN.healthy), { size: 4, class: "blank" });
  const names = el("span");
  const sureNote = el("p", { class: "hint" });
  function tell() {
    const words = surestWords(valueAt(GIVEN.sure));
    if (words && words !== sureNote.textContent) announce(words);
    sureNote.textContent = words;
    const options = draft().lines.map((line, i) => [i, line.genus ? plantName(line) : `plant of line ${i + 1}`]);
    const chosen = choice(asked(), options, (i) => {
      set(GIVEN.line)(i);
      tell();
    });
    chosen.className = "kinds";
    const there = names.querySelector("select");
    if (there) chosen.id = there.id;
    if (there?.textContent === chosen.textContent && there.selectedIndex === chosen.selectedIndex) return;
    const focused = there && there === document.activeElement;
    names.replaceChildren(...blankOnce(chosen));
    if (focused) chosen.focus();
    healthy.placeholder = draft().lines[asked()].quantity ?? "";
  }
  const blankOnce = (input) => {
    const made = field("Plant", input, { pointer: "/target/line", hideLabel: true });
    return [made.querySelector("label"), made.querySelector(".entry")];
  };
  tell();
  const node = el(
    "fieldset",
    {},
    el("legend", {}, "What you want"),
    el(
      "p",
      { class: "sentence" },
      "I want ",
      blank("Plants wanted healthy", healthy, "/target/healthy"),
      " ",
      names,
      " healthy when I open the box, and want to be ",
      blank(
        "times in ten sure",
        numberInput(valueAt(GIVEN.sure) ?? USUAL.sure, (value) => {
          set(GIVEN.sure)(value);
          tell();
        }, { size: 3, class: "blank" }),
        "/target/confidence",
      ),
      " in 10 sure.",
    ),
    sureNote,
    slots,
  );
  return { node, tell };
}

function draw({ data, body, answer, form }) {
  const { currency, target } = body;
  const lead = said(data.lead);
  const left = showLeftOut(form, data, ask().place);
  const line = body.lines[target.line];
  const routes = data.routes.map(worthPlacing);
  const most = Math.max(target.healthy, ...routes.map((route) => route.quantity ?? 0));
  const sized = routes.filter((route) => route.quantity !== null);
  const surest = Math.max(...sized.map((route) => route.confidence ?? target.confidence));
  const asSure = sized.filter((route) => (route.confidence ?? target.confidence) === surest);
  const cheapest = asSure.length ? Math.min(...asSure.map((route) => route.landed_cost)) : null;
  replace(
    answer,
    ...answerParts(
      [
        el("h2", { class: "lead", tabindex: "-1" }, lead),
        el(
          "table",
          { class: "orders" },
          el("caption", {}, `${plantName(line)}. Drawn thick: healthy in 9 of 10 shipments; the line: the ${count(target.healthy)} wanted`),
          el(
            "thead",
            {},
            el("tr", {}, el("th", { scope: "col" }, "By"), ["Order", "Healthy", "Landed"].map((text) => el("th", { scope: "col", class: "n" }, text))),
          ),
          routes.map((route) => rows(route, { currency, most, wanted: target.healthy, best: asSure.includes(route) && route.landed_cost === cheapest })),
        ),
        grownWords(routes, body),
        el("p", { class: "hint" }, body.lines.length > 1 ? "Landed: the whole batch with that many." : "Landed: everything counted until it is at your door."),
      ],
      [
        sized.map((route) => perRoute(route, line, currency)),
        checklist(data.cautions),
        alsoAssumed(left),
      ],
    ),
  );
  keepOpen(answer);
  return lead;
}

/* The order of a route, or the surest worth placing where as sure as wanted takes more than that. */
const worthPlacing = (route) => (route.possible ? { ...route, ...route.possible } : route);

/* Where boxes travel apart each holds the lines at the mix of the batch, so that their number is that of the whole batch
   grown; what is paid for is the order and the rest as it is. */
function grownWords(routes, { lines, target, routes: asked }) {
  const before = lines[target.line].quantity;
  const grown = routes.filter(
    ({ quantity, boxes }, i) => lines.length > 1 && boxes > 1 && quantity > before && asked[i].travel === "apart" && !asked[i].boxes,
  );
  return grown.map(({ name, quantity, boxes }) =>
    el(
      "p",
      { class: "hint" },
      `By ${name} the boxes travel apart, each filled in the mix of the batch: ${boxesOf(boxes)} are what the whole batch ` +
        `takes when it is grown by the factor ${decimal(quantity / before)}. The other plants are paid for as they stand.`,
    ),
  );
}

/* One route: its numbers, and beneath them the same drawn. */
function rows(route, { currency, most, wanted, best }) {
  const { name, quantity, boxes, healthy, landed_cost: landed, confidence } = route;
  const head = el("th", { scope: "row" }, name, best ? el("span", { class: "aside" }, "✓ costs least") : null);
  if (quantity === null)
    return el("tbody", {}, el("tr", {}, head, el("td", { colspan: 3 }, "more than 10,000 would be needed")));
  return el(
    "tbody",
    { class: best ? "chosen" : null },
    el(
      "tr",
      {},
      head,
      el("td", { class: "n" }, el("strong", {}, count(quantity)), el("span", { class: "aside" }, confidence ? `${percent(confidence)} sure, ${boxesOf(boxes)}` : boxesOf(boxes))),
      el("td", { class: "n" }, count(healthy.mean), el("span", { class: "aside" }, `${count(healthy.p05)} to ${count(healthy.p95)}`)),
      el("td", { class: "n" }, money(landed, currency)),
    ),
    el("tr", { class: "drawn" }, el("td", { colspan: 4 }, gauge({ most, ordered: quantity, span: healthy, wanted }))),
  );
}

function perRoute(route, line, currency) {
  return el(
    "section",
    { class: "take", "aria-label": route.name },
    el(
      "details",
      { class: "numbers" },
      el("summary", {}, `${route.name}: costs, item by item`),
      el("p", {}, `At least as many healthy as wanted: ${percent(route.chance)}.`),
      tableOf({
        head: ["Item", "Amount"],
        rows: [...route.items.map((item) => [item.text, money(item.amount, currency)]), ["Landed cost", money(route.landed_cost, currency)]],
      }),
    ),
    el(
      "button",
      { type: "button", on: { click: () => take(route.quantity, line) } },
      `Take ${count(route.quantity)} into the batch`,
    ),
  );
}

function take(quantity, line) {
  draft().lines[asked()].quantity = quantity;
  keep();
  announce(`${count(quantity)} ${plantName(line)} are in the batch.`);
  location.hash = "#compare";
}
