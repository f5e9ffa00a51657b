/* One seller: what to ask it, what it answered, how it packs. */

import { countInput } from "/page/amounts.js";
import { call, get } from "/page/api.js";
import { announce, el } from "/page/dom.js";
import { choice, clearErrors, field, showErrors, textInput } from "/page/fields.js";
import { packings } from "/page/lists.js";
import { failure } from "/page/notices.js";
import { many } from "/page/plural.js";
import { ranked } from "/page/spelling.js";
import { suggest } from "/page/suggest.js";
import { KINDS, RECOURSE, sellerAddress, sellerPath, YES_NO } from "/page/sellers/words.js";

const LONGEST_NOTE = 4000;
const STALE = 412;
const empty = () => ({
  name: null,
  kind: null,
  country: null,
  notes: "",
  recourse: null,
  packing: {},
  answers: {},
});

export async function show(root, { name, isNew }, signal) {
  root.append(el("p", {}, "Loading …"));
  const stored = isNew ? null : await get(sellerPath(name), { signal });
  const known = await packings();
  if (!signal.aborted) draw(root, { stored, begun: empty(), known, signal });
}

function draw(root, { stored, begun, known, signal }) {
  const seller = stored ? recorded(stored) : begun;
  const place = el("div");
  const button = el("button", { type: "submit", class: "main" }, stored ? "Keep" : "Record this seller");
  const form = el(
    "form",
    { class: "seller", autocomplete: "off", novalidate: true, on: { submit: keep, input: mended } },
    sellerFields(seller, known, { named: Boolean(stored) }),
    place,
    el("div", { class: "actions" }, button, el("a", { class: "button", href: "#sellers" }, "Back")),
  );

  async function keep(event) {
    event?.preventDefault();
    place.replaceChildren();
    clearErrors(form);
    if (!seller.name) {
      showErrors(form, [{ pointer: "/name", message: "say what it is called" }]);
      form.querySelector("[aria-invalid]").focus();
      return;
    }
    button.disabled = true;
    try {
      const { data } = await call("PUT", sellerPath(stored?.name ?? seller.name), {
        body: seller,
        headers: stored ? { "If-Match": stored.etag } : { "If-None-Match": "*" },
        signal,
      });
      const left = data.unknown.length;
      announce(`Kept. ${left ? `${many(left, "question")} still open.` : "All questions are answered."}`);
      draw(root, { stored: data, begun, known, signal });
      root.querySelector("h1").focus();
      if (!stored) history.replaceState(null, "", sellerAddress(data.name));
    } catch (fault) {
      if (signal.aborted) return;
      if (fault.status === STALE && stored)
        place.replaceChildren(
          el(
            "div",
            { class: "notice bad", role: "alert" },
            el("p", {}, "This seller was changed elsewhere in the meantime, and nothing of this form is kept yet."),
            el("button", { type: "button", on: { click: showStored } }, "Show it as it is now"),
          ),
        );
      else if (fault.status === STALE)
        showErrors(form, [{ pointer: "/name", message: "is on record already: open it in the list of sellers" }]);
      else place.replaceChildren(failure(fault, null, showErrors(form, fault.errors ?? [])));
      form.querySelector("[aria-invalid]")?.focus();
    }
    button.disabled = false;
  }

  const showStored = async () => {
    const now = await get(sellerPath(stored.name), { signal });
    draw(root, { stored: now, begun, known, signal });
  };

  root.replaceChildren(
    el("p", {}, el("a", { href: "#sellers" }, "All sellers")),
    el("h1", { tabindex: "-1" }, stored?.name ?? "A new seller"),
    stored ? el("div", { class: "form-and-questions" }, questions(stored), form) : el("p", {}, "Put down what you know; what is left empty is asked for."),
    stored ? "" : form,
  );
}

/* What is typed anew is not wrong until it is sent. */
const mended = ({ target }) => clearErrors(target.closest(".field"));

/* What the server has on record, as it takes it. */
function recorded({ name, kind, country, notes, recourse, packing, answers }) {
  return { name, kind, country, notes, recourse, packing: { ...packing }, answers: { ...answers } };
}

function questions({ unknown, recorded_boxes: boxes, text }) {
  if (!unknown.length) return el("p", {}, "Every question is answered.", boxes ? ` ${text}.` : "");
  return el(
    "section",
    { class: "acts", "aria-labelledby": "open-questions" },
    el("h2", { id: "open-questions" }, boxes ? "Still to ask" : "To ask before the first order"),
    el("ol", {}, unknown.map((question) => el("li", {}, question))),
  );
}

function sellerFields(seller, known, { named }) {
  const of = (kind) => [[null, "not known"], ...known.filter((row) => row.kind === kind).map((row) => [row.code, row.name])];
  const set = (part, name) => (value) => (part[name] = value);
  const pick = (label, part, name, pointer, options) =>
    field(label, choice(part[name] ?? null, options, set(part, name)), { pointer });
  const number = (label, part, name, pointer, options) =>
    field(label, countInput(part[name], set(part, name)), { pointer, ...options });
  const { packing, answers } = seller;
  return [
    el(
      "fieldset",
      {},
      el("legend", {}, "Who it is"),
      el(
        "div",
        { class: "fields" },
        named ? null : field("Name", textInput(seller.name, set(seller, "name"), { maxlength: 120 }), { pointer: "/name" }),
        pick("It is", seller, "kind", "/kind", KINDS),
        countryField(seller),
        pick("For dead plants it gives", seller, "recourse", "/recourse", RECOURSE),
      ),
    ),
    el(
      "fieldset",
      {},
      el("legend", {}, "How it usually packs"),
      el(
        "div",
        { class: "fields" },
        pick("Container", packing, "container", "/packing/container", of("container")),
        pick("Roots", packing, "roots", "/packing/roots", of("roots")),
        number("Plants a box holds", packing, "capacity", "/packing/capacity"),
        number("A heat pack lasts", packing, "heat_pack_hours", "/packing/heat_pack_hours", { unit: "h" }),
        number("Heat packs a box", packing, "heat_packs", "/packing/heat_packs", { hint: "0 for none." }),
        number("Cold packs a box", packing, "cold_packs", "/packing/cold_packs", { hint: "0.35 kg of ice each." }),
      ),
    ),
    el(
      "fieldset",
      {},
      el("legend", {}, "What it answered"),
      el(
        "div",
        { class: "fields" },
        pick("Grows the plants itself", answers, "grows_plants", "/answers/grows_plants", YES_NO),
        pick("Has exported to here", answers, "exported_here", "/answers/exported_here", YES_NO),
        pick("Shows a live video", answers, "live_video", "/answers/live_video", YES_NO),
        number("Certificate takes", answers, "certificate_days", "/answers/certificate_days", { unit: "days" }),
        number("Packed before pick-up", answers, "packed_before_pickup_hours", "/answers/packed_before_pickup_hours", { unit: "h" }),
        field("Wraps roots and leaves", textInput(answers.wrapping, set(answers, "wrapping"), { maxlength: 120 }), {
          pointer: "/answers/wrapping",
          wide: true,
        }),
      ),
    ),
    field(
      "Notes",
      el("textarea", { rows: 3, maxlength: LONGEST_NOTE, value: seller.notes, on: { input: (event) => (seller.notes = event.target.value) } }),
      { pointer: "/notes", wide: true },
    ),
  ];
}

const regions = new Intl.DisplayNames(["en"], { type: "region", fallback: "none" });

/* Every country that the browser has a name for, as [{code, name}]. */
function countries() {
  const letters = [..."ABCDEFGHIJKLMNOPQRSTUVWXYZ"];
  return letters.flatMap((first) =>
    letters.flatMap((second) => {
      const name = regions.of(first + second);
      return name ? [{ code: first + second, name }] : [];
    }),
  );
}

function countryField(seller) {
  const all = countries();
  const names = ({ code, name }) => [name, code];
  const input = suggest({
    value: seller.country ? (regions.of(seller.country) ?? seller.country) : "",
    search: (text) => ranked(all, text, names).map(({ code, name }) => ({ value: code, text: name, note: code })),
    pick: ({ value }) => (seller.country = value),
    typed: (text) => {
      const bare = text.trim().toLowerCase();
      seller.country = all.find((one) => names(one).some((name) => name.toLowerCase() === bare))?.code ?? (text.trim() || null);
    },
  });
  return field("It ships from", input, { pointer: "/country", hint: "The country." });
}
