/* The parts of the form with usual values: packing, routes, the loss one can bear, money and papers. */

import { amountInput, countInput } from "/page/amounts.js";
import { get } from "/page/api.js";
import { allMayDie, draft, keep, setAt, surestWords, valueAt } from "/page/batch.js";
import { announce, el, newId } from "/page/dom.js";
import { choice, field, numberInput, readNumber, textInput } from "/page/fields.js";
import { sayInForce } from "/page/in_force.js";
import { packings, services } from "/page/lists.js";
import { isOfService, routeName } from "/page/route_names.js";
import { kinds, recourses } from "/page/sellers/words.js";
import { count, decimalSign, settings } from "/page/settings.js";

/* "6, 5, 9" or "6 5,5 9" -> the numbers, what is none as it is; nothing -> null. A comma without a space divides days
   unless the reader's settings make it a decimal sign. */
export function readDays(text) {
  const decimalComma = decimalSign() === ",";
  const parts = (text ?? "").split(/[\s;]+|,(?=\s|$)/).filter(Boolean);
  const days = parts.flatMap((part) => (decimalComma && part.split(",").length === 2 ? [part] : part.split(",")));
  const read = days.filter(Boolean).map(readNumber);
  return read.length ? read : null;
}

export const SELLER_KINDS = kinds("not said");
export const RECOURSE = recourses("not said: nothing is counted on");
const PAPERS = [
  ["import_permit", "Import permit"],
  ["phytosanitary_certificate", "Phytosanitary certificate"],
  ["invoice", "Invoice"],
  ["waybill_copy", "Copy of the waybill"],
];
const IN_HAND = [
  [null, "not said"],
  [true, "in hand"],
  [false, "missing"],
];

/* What makes fields of the draft: each keeps its value at its pointer and tells that something changed. */
function bound(changed) {
  const set = (pointer) => (value) => {
    setAt(pointer, value);
    changed();
  };
  return {
    set,
    // A field whose unit is the currency takes amounts as sellers write them, others what may stand beside a number.
    number: (label, pointer, options) => {
      const input = options?.unit === settings().currency ? amountInput : countInput;
      return field(label, input(valueAt(pointer), set(pointer)), { pointer, ...options });
    },
    share: (label, pointer, options) => {
      const value = valueAt(pointer);
      const input = numberInput(typeof value === "number" ? Number((100 * value).toFixed(6)) : value, (typed) =>
        set(pointer)(typeof typed === "number" ? typed / 100 : typed),
      );
      input.dataset.share = "";
      return field(label, input, { pointer, unit: "%", ...options });
    },
    text: (label, pointer, options) => field(label, textInput(valueAt(pointer), set(pointer)), { pointer, ...options }),
    choice: (label, pointer, choices, options) =>
      field(label, choice(valueAt(pointer) ?? null, choices, set(pointer)), { pointer, ...options }),
  };
}

function folded(title, ...content) {
  const part = el("details", { class: "folded" }, el("summary", {}, title, el("span", { class: "taken" })), ...content);
  sayInForce(part);
  return part;
}

export async function packingFields(changed) {
  const all = await packings();
  const make = bound(changed);
  const of = (kind) => all.filter((row) => row.kind === kind).map((row) => [row.code, row.name]);
  return folded(
    "Packing",
    el(
      "div",
      { class: "fields" },
      make.choice("Container", "/packing/container", of("container")),
      make.choice("Roots", "/packing/roots", of("roots")),
      make.number("Plants a box holds", "/packing/capacity"),
      make.number("A heat pack lasts", "/packing/heat_pack_hours", { unit: "h", hint: "Its rating; empty for none." }),
      make.number("Heat packs a box", "/packing/heat_packs"),
      make.number("Cold packs a box", "/packing/cold_packs", { hint: "0.35 kg of ice each." }),
    ),
  );
}

export async function routeFields(changed) {
  const all = await services();
  const make = bound(changed);
  const list = el("div", { class: "routes" });
  draw();
  return el(
    "fieldset",
    {},
    el("legend", {}, "Routes"),
    list,
    el("div", { class: "actions" }, el("button", { type: "button", on: { click: add } }, "Add a route")),
  );

  function add() {
    const routes = draft().routes;
    if (routes.length >= 10) return announce("Ten routes at most");
    const unused = all.find((row) => routes.every((route) => route.service !== row.service)) ?? all[0];
    const name = routeName(unused.service, routes.map((route) => route.name));
    routes.push({ name, service: unused.service, freight: null });
    keep();
    draw();
    list.lastElementChild.querySelector("input").focus();
  }

  function remove(i) {
    draft().routes.splice(i, 1);
    keep();
    draw();
    announce(`Route ${i + 1} removed`);
    list.querySelector("input").focus();
    changed();
  }

  function draw() {
    list.replaceChildren(...draft().routes.map((route, i) => one(route, i)));
  }

  function one(route, i) {
    const at = (name) => `/routes/${i}/${name}`;
    const hint = el("span", { class: "hint" });
    const tell = () => {
      const row = all.find((known) => known.service === draft().routes[i].service);
      hint.textContent = row ? `Usual freight of one box: ${count(row.freight_low)} to ${count(row.freight_high)} ${row.freight_currency}.` : "";
    };
    tell();
    const name = make.text("Name", at("name"));
    return el(
      "div",
      { class: "route", role: "group", "aria-label": `Route ${i + 1}` },
      el(
        "div",
        { class: "fields" },
        name,
        field(
          "Service",
          choice(route.service, all.map((row) => [row.service, row.name]), (value) => {
            if (isOfService(route.name, all)) {
              const others = draft().routes.filter((_, j) => j !== i);
              setAt(at("name"), routeName(value, others.map((other) => other.name)));
              name.querySelector("input").value = route.name;
            }
            make.set(at("service"))(value);
            tell();
          }),
          { pointer: at("service") },
        ),
        make.number("Freight of a box", at("freight"), { unit: settings().currency }),
        field(
          "Last journeys took, days",
          textInput((route.recent_days ?? []).join(", "), (text) => make.set(at("recent_days"))(readDays(text)), {
            placeholder: "6, 5, 9",
          }),
          { pointer: at("recent_days") },
        ),
        hint,
      ),
      folded(
        "Boxes, fees and days",
        el(
          "div",
          { class: "fields" },
          make.number("Boxes", at("boxes")),
          make.choice("They travel", at("travel"), [
            [null, "together, on one waybill"],
            ["apart", "apart, each on its own"],
          ]),
          make.number("Handling", at("handling"), { unit: settings().currency, hint: "A waybill." }),
          make.number("Collection", at("collection"), { unit: settings().currency, hint: "From the airport." }),
          make.number("Days, 1 in 10 faster", at("transit_days/p10")),
          make.number("Days, usual", at("transit_days/p50")),
          make.number("Days, 1 in 10 slower", at("transit_days/p90"), { hint: "From closing to opening the box." }),
        ),
      ),
      draft().routes.length > 1
        ? el(
            "button",
            { type: "button", class: "small", "aria-label": `Remove route ${i + 1}`, on: { click: () => remove(i) } },
            "Remove",
          )
        : null,
    );
  }
}

/* "I can bear losing 1 plant in 4, and want to be 8 in 10 sure." */
export function bearableFields(changed) {
  const make = bound(() => {
    tell();
    changed();
  });
  const slots = [];
  const sureNote = el("p", { class: "hint" });
  const tell = () => {
    const { bearable } = draft();
    const words = [surestWords(bearable.sure), allMayDie(bearable)].filter(Boolean).join(" ");
    if (words && words !== sureNote.textContent) announce(words);
    sureNote.textContent = words;
  };
  tell();
  const blank = (label, name, pointer) => {
    const input = numberInput(valueAt(`/bearable/${name}`), make.set(`/bearable/${name}`), { size: 3, class: "blank" });
    const made = field(label, input, { pointer, hideLabel: true });
    slots.push(made.querySelector(".assumed"), made.querySelector(".error"));
    return [made.querySelector("label"), made.querySelector(".entry")];
  };
  const words = el(
    "p",
    { class: "sentence" },
    "I can bear losing ",
    blank("Plants that may die", "lost", "/bearable/lost"),
    " plant in ",
    blank("of so many", "of", "/risk/max_loss_share"),
    ", and want to be ",
    blank("times in ten sure", "sure", "/risk/confidence"),
    " in 10 sure.",
  );
  const hint = el("p", { class: "hint" }, "Lost is dead at unboxing; damaged plants are counted apart.");
  return el("fieldset", {}, el("legend", {}, "Loss I can bear"), words, sureNote, slots, hint);
}

export function moneyFields(changed) {
  const make = bound(changed);
  const unit = settings().currency;
  return folded(
    "Costs and claims",
    el(
      "div",
      { class: "fields" },
      make.number("Certificate", "/costs/phyto", { unit, hint: "Phytosanitary, a waybill." }),
      make.number("Permit", "/costs/permit", { unit, hint: "The share of this batch." }),
      make.number("Other costs", "/costs/other", { unit }),
      make.share("Duty", "/costs/duty_rate"),
      make.share("Import tax", "/costs/tax_rate"),
      make.share("Tax reclaimed", "/costs/tax_reclaimed_share", { hint: "Of the import tax." }),
      make.choice("Duty is taken on", "/costs/dutiable", [
        [null, "the usual"],
        ["plants", "the plants"],
        ["plants_and_freight", "plants and freight"],
      ]),
      make.share("A damaged plant brings", "/damaged_value_share", { hint: "Of what it sells for." }),
      make.choice("For dead plants I get", "/recourse/kind", RECOURSE),
      make.share("A claim is honoured", "/recourse/chance", { hint: "The chance." }),
      make.number("Claim within", "/recourse/claim_window_hours", { unit: "h", hint: "Of delivery." }),
      make.number("Dispute payment within", "/recourse/payment_window_days", { unit: "days" }),
    ),
  );
}

export function sellerFields(changed) {
  const make = bound(changed);
  const known = el("datalist", { id: newId("sellers") });
  get("/v1/sellers").then(
    ({ items }) => known.append(...items.map((row) => el("option", { value: row.name }))),
    () => {}, // only suggestions are missing
  );
  const days = (name) =>
    textInput((draft()[name] ?? []).join(", "), (text) =>
      make.set(`/${name}`)((text ?? "").split(/[\s,;]+/).filter(Boolean)),
    );
  return folded(
    "Seller, papers and closed days",
    el(
      "div",
      { class: "fields" },
      field("Seller", textInput(draft().seller, make.set("/seller"), { list: known.id }), {
        pointer: "/seller",
        hint: "As in your own record.",
      }),
      known,
      make.choice("The seller is", "/seller_kind", SELLER_KINDS),
      el("p", { class: "hint" }, el("a", { href: "#sellers" }, "What is on record of sellers"), " fills in what is left empty here."),
      PAPERS.map(([name, label]) => make.choice(label, `/paperwork/${name}`, IN_HAND)),
      field("Closed days there", days("closed_dates"), {
        pointer: "/closed_dates",
        hint: "Days without work beside weekends and public holidays, such as 2027-01-06, 2027-03-17.",
        wide: true,
      }),
      field("Worked all the same", days("open_dates"), {
        pointer: "/open_dates",
        hint: "Weekend days and public holidays on which the service works.",
        wide: true,
      }),
    ),
  );
}
