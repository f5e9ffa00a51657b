/* A box that has arrived and was never planned here, put down by hand: one file of its rows, taken in as a whole or not at
   all, so that no half of it is left behind. It has no forecast: one made after the fact would prove nothing. */

import { amountInput, countInput, foreignFaults } from "/page/amounts.js";
import { call, get } from "/page/api.js";
import { columnPointer, csvOf, emptyBox, emptyRow } from "/page/boxes/by_hand_rows.js";
import { address } from "/page/boxes/words.js";
import { announce, el, newId } from "/page/dom.js";
import { choice, clearErrors, dateInput, field, numberInput, showErrors, textInput } from "/page/fields.js";
import { placeField } from "/page/form_journey.js";
import { genera, packings, places, services } from "/page/lists.js";
import { failure } from "/page/notices.js";
import { fromShown, settings, unitName } from "/page/settings.js";
import { ranked } from "/page/spelling.js";
import { suggest } from "/page/suggest.js";

const KEY = "transit.by_hand";
const CONFLICT = 409;
const COUNTS = [
  ["sent", "In box"],
  ["healthy", "Healthy"],
  ["damaged", "Damaged"],
  ["dead", "Dead"],
];

function kept() {
  try {
    return { ...emptyBox(), ...JSON.parse(localStorage.getItem(KEY) ?? "{}") };
  } catch {
    return emptyBox();
  }
}

export async function show(root, signal) {
  root.append(el("p", {}, "Loading …"));
  const known = await Promise.all([places(), packings(), services(), genera()]);
  if (signal.aborted) return;
  const box = kept();
  const changed = () => localStorage.setItem(KEY, JSON.stringify(box));
  const place = el("div");
  const button = el("button", { type: "submit", class: "main" }, "Put it on record");
  const rows = plantRows(box, known[3], changed);
  const form = el(
    "form",
    { class: "by-hand", autocomplete: "off", novalidate: true, on: { submit: record, input: mended } },
    boxFields(box, known, changed),
    rows,
    place,
    el("div", { class: "actions" }, button, el("a", { class: "button", href: "#boxes" }, "Back")),
  );

  async function record(event) {
    event?.preventDefault();
    place.replaceChildren();
    clearErrors(form);
    const foreign = foreignFaults(form);
    if (foreign.length) {
      showErrors(form, foreign);
      form.querySelector("[aria-invalid]")?.focus();
      return;
    }
    const named = { ...box, currency: settings().currency, shipment: box.shipment ?? nameOf(box) };
    button.disabled = true;
    try {
      const { data } = await call("POST", "/v1/shipments/import", { body: csvOf(named), type: "text/csv", signal });
      const { items } = await get(`/v1/shipments?reference=${encodeURIComponent(named.shipment)}`, { signal });
      localStorage.removeItem(KEY);
      announce(data.unchanged ? "That box was on record already." : "The box is on record.");
      location.hash = address(items[0].id);
    } catch (fault) {
      if (signal.aborted) return;
      place.replaceChildren(refusal(fault));
      form.querySelector("[aria-invalid]")?.focus();
    }
    button.disabled = false;
  }

  function refusal(fault) {
    if (fault.status === CONFLICT) {
      showErrors(form, [
        {
          pointer: "/shipment",
          message: "another box of this name is on record: give this one another name, or unpack or correct that one on its own page",
        },
      ]);
      return "";
    }
    const placed = (fault.errors ?? []).map((error) => ({ ...error, pointer: error.column ? columnPointer(error) : error.pointer }));
    // What is wrong with the box is told of each of its rows.
    const errors = [...new Map(placed.map((error) => [`${error.pointer} ${error.message}`, error])).values()];
    const left = showErrors(form, errors);
    if (errors.length && !left.length)
      return el("p", { class: "notice bad", role: "alert" }, "Nothing was recorded yet: correct what is marked.");
    return failure(fault, null, left);
  }

  root.replaceChildren(
    el("p", {}, el("a", { href: "#boxes" }, "All boxes")),
    el("h1", {}, "A box that has arrived"),
    el(
      "p",
      {},
      "For a box that was never planned here. One that is planned or on its way is unpacked on its own page; many at once come as a file under ",
      el("a", { href: "#look-back" }, "Look back"),
      ".",
    ),
    form,
  );
}

/* What is typed anew is not wrong until it is sent. */
const mended = ({ target }) => clearErrors(target.closest(".field"));

/* What a box without a name of its own is called. */
const nameOf = (box) => [box.seller, box.ship_date].filter(Boolean).join(", ") || null;

function boxFields(box, [allPlaces, allPackings, allServices], changed) {
  const set = (name) => (value) => {
    box[name] = value;
    changed();
  };
  const store = { valueAt: (pointer) => box[pointer.slice(1)], setAt: (pointer, value) => (box[pointer.slice(1)] = value) };
  const of = (kind) => allPackings.filter((row) => row.kind === kind).map((row) => [row.code, row.name]);
  const number = (label, name, options) => field(label, numberInput(box[name], set(name)), { pointer: `/${name}`, ...options });
  const degrees = (label, name) =>
    field(
      label,
      numberInput(null, (value) => set(name)(typeof value === "number" ? Number(fromShown(value).toFixed(2)) : value)),
      { pointer: `/${name}`, unit: unitName() },
    );
  const sellers = el("datalist", { id: newId("sellers") });
  get("/v1/sellers").then(
    ({ items }) => sellers.append(...items.map((row) => el("option", { value: row.name }))),
    () => {}, // only suggestions are missing
  );
  return [
    el(
      "fieldset",
      {},
      el("legend", {}, "The box"),
      el(
        "div",
        { class: "fields" },
        field("Name of the box", textInput(box.shipment, set("shipment"), { maxlength: 120 }), {
          pointer: "/shipment",
          hint: "Your order number; else seller and day.",
        }),
        field("Seller", textInput(box.seller, set("seller"), { list: sellers.id, maxlength: 120 }), { pointer: "/seller" }),
        sellers,
        placeField("From", "/origin", allPlaces, changed, store),
        placeField("To", "/destination", allPlaces, changed, store),
        field("Came by", choice(box.service, allServices.map((row) => [row.service, row.name]), set("service")), { pointer: "/service" }),
        field("Left on", dateInput(box.ship_date, set("ship_date")), { pointer: "/ship_date" }),
        field("Opened on", dateInput(box.arrival_date, set("arrival_date")), { pointer: "/arrival_date" }),
      ),
    ),
    el(
      "details",
      { class: "folded" },
      el("summary", {}, "Packing, temperature in the box"),
      el(
        "div",
        { class: "fields" },
        field("Container", choice(box.container, of("container"), set("container")), { pointer: "/container" }),
        field("Roots", choice(box.roots, of("roots"), set("roots")), { pointer: "/roots" }),
        number("A heat pack lasts", "heat_pack_hours", { unit: "h", hint: "Empty for none." }),
        number("Heat packs", "heat_packs"),
        number("Cold packs", "cold_packs"),
        degrees("Mean inside", "inside_temp_c"),
        degrees("Lowest inside", "inside_min_c"),
        degrees("Highest inside", "inside_max_c"),
      ),
    ),
  ];
}

/* A card a kind of plant. */
function plantRows(box, known, changed) {
  const cards = el("div", { class: "cards" });
  const names = (genus) => [genus.genus, ...genus.names];

  function card(row, i) {
    const set = (name) => (value) => {
      row[name] = value;
      changed();
    };
    const genus = suggest({
      value: row.genus,
      search: (text) => ranked(known, text, names).map(({ genus: name }) => ({ value: name, text: name })),
      pick: ({ value }) => set("genus")(value),
      typed: (text) => set("genus")(text.trim() || null),
      attributes: { placeholder: "such as Hoya" },
    });
    const number = (input) => ([name, label]) => field(label, input(row[name], set(name)), { pointer: `/lines/${i}/${name}` });
    return el(
      "fieldset",
      { class: "card" },
      el("legend", {}, `Plant ${i + 1}`),
      el(
        "div",
        { class: "two-fields" },
        field("Genus", genus, { pointer: `/lines/${i}/genus` }),
        field("Cultivar", textInput(row.cultivar, set("cultivar"), { maxlength: 120, placeholder: "any" }), { pointer: `/lines/${i}/cultivar` }),
      ),
      el("div", { class: "four-fields" }, COUNTS.map(number(countInput))),
      el("div", { class: "two-fields" }, [["unit_cost", `Cost each, ${settings().currency}`], ["sale_value", `Sells for, ${settings().currency}`]].map(number(amountInput))),
      box.lines.length > 1
        ? el("button", { type: "button", class: "small", "aria-label": `Take plant ${i + 1} away`, on: { click: () => remove(i) } }, "Take away")
        : null,
    );
  }

  const draw = () => cards.replaceChildren(...box.lines.map(card));

  function add() {
    box.lines.push(emptyRow());
    changed();
    draw();
    cards.lastElementChild.querySelector("input").focus();
  }

  function remove(i) {
    box.lines.splice(i, 1);
    changed();
    draw();
    announce(`Plant ${i + 1} is taken away.`);
    cards.querySelector("input").focus();
  }

  draw();
  return el(
    "fieldset",
    {},
    el("legend", {}, "What was in it"),
    el("p", { class: "hint" }, "As counted when it was opened. Leave empty what nobody counted: it is unknown then, and not none."),
    cards,
    el("div", { class: "actions" }, el("button", { type: "button", on: { click: add } }, "Add a plant")),
  );
}
