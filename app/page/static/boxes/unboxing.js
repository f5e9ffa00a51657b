/* Unpacking: counts by thumb. Every tap is kept on this device; what is recorded is sent now, or later if there is no
   connection. */

import { countCard, meanings } from "/page/boxes/count_card.js";
import { loggerPart, notesField, photosField } from "/page/boxes/evidence_fields.js";
import { boxOf } from "/page/boxes/known.js";
import { orCorrect } from "/page/boxes/times.js";
import { bodyOf, formOf, freshForm, totals, untouched } from "/page/boxes/unboxing_form.js";
import { address, boxName } from "/page/boxes/words.js";
import { freshCounts } from "/page/counts.js";
import { announce, el } from "/page/dom.js";
import { field, showErrors } from "/page/fields.js";
import { entered, forgetEntered, forgetWaiting, formKept, keepEntered, waitingFor } from "/page/kept.js";
import { askOnce, failure } from "/page/notices.js";
import { refusalOf, send } from "/page/sending.js";
import { misreadQuestion } from "/page/stepper.js";
import { aheadFaults, momentInput, toTyped } from "/page/times.js";

const KIND = "arrival";

export async function show(root, id, signal) {
  root.append(el("p", {}, "Loading …"));
  const { shipment, etag, item } = await boxOf(id, signal);
  const facts = shipment
    ? {
        reference: shipment.reference,
        lines: shipment.arrival?.lines ?? shipment.plan.lines,
        ship_date: shipment.plan?.ship_date,
      }
    : item;
  const name = boxName(facts);
  const entry = waitingFor(id, KIND);
  const begin = () => {
    if (shipment?.arrival) return formOf(shipment, etag, shipment.plan?.lines.length ?? shipment.arrival.lines.length);
    return freshForm(facts.lines, { etag, departed_at: (shipment ?? item).departed_at });
  };
  const kept = entered(id, KIND) ?? formKept(entry);
  const corrects = Boolean(shipment?.arrival);
  draw(root, { id, name, form: kept ?? begin(), begin, entry, resumed: Boolean(kept), corrects });
}

function draw(root, { id, name, form, begin, entry, resumed, corrects }) {
  const place = el("div");
  let asked = false;
  const sum = el("p", { class: "sum", "aria-hidden": "true" });
  const cards = el("div", { class: "counting" });
  const button = el("button", { type: "submit", class: "main large" }, "Record these counts");

  function changed() {
    tell();
    try {
      keepEntered(id, KIND, form);
    } catch (fault) {
      place.replaceChildren(failure(fault));
    }
  }

  function tell() {
    const { sent, healthy, damaged, dead, missing } = totals(form.lines);
    sum.textContent = `${healthy} healthy, ${damaged} damaged, ${dead} dead of ${sent}${missing ? `; ${missing} missing` : ""}`;
  }

  function drawCards() {
    cards.replaceChildren(
      ...form.lines.map((line, i) =>
        countCard(
          line,
          i,
          changed,
          line.line === null
            ? () => {
                form.lines.splice(i, 1);
                drawCards();
                changed();
                announce("Taken away.");
                add.focus();
              }
            : null,
        ),
      ),
    );
    tell();
  }

  const add = el("button", { type: "button", on: { click: addLine } }, "Add a plant that was not ordered");

  function addLine() {
    form.lines.push({ line: null, genus: "", cultivar: null, quantity: null, ...freshCounts(1), note: "" });
    drawCards();
    changed();
    cards.lastElementChild.querySelector("input").focus();
  }

  async function record(event) {
    event?.preventDefault();
    const unread = misreadQuestion(formNode);
    if (unread) {
      place.replaceChildren(askOnce(unread, button));
      return;
    }
    const unnamed = form.lines.findIndex((line) => line.line === null && !line.genus);
    if (unnamed >= 0) {
      showErrors(formNode, [
        { pointer: `/lines/${unnamed}/genus`, message: "say what plant it is, or take the line away" },
      ]);
      formNode.querySelector("[aria-invalid]").focus();
      return;
    }
    const ahead = aheadFaults(form, ["arrived_at", "opened_at", "departed_at"]);
    if (showErrors(formNode, ahead).length < ahead.length) {
      formNode.querySelector("[aria-invalid]").focus();
      return;
    }
    if (!asked && !corrects && untouched(form)) {
      asked = true;
      const { sent } = totals(form.lines);
      place.replaceChildren(askOnce(`No count was changed. Were all ${sent} plants there, and healthy?`, button));
      return;
    }
    button.disabled = true;
    let state;
    try {
      state = await send({ id, kind: KIND, name, body: bodyOf(form), etag: form.etag, form });
    } catch (fault) {
      place.replaceChildren(failure(fault));
      button.disabled = false;
      return;
    }
    button.disabled = false;
    if (!formNode.isConnected) return;
    if (state === "refused") showRefusal(waitingFor(id, KIND));
    else if (state === "conflict") location.hash = address(id, "conflict", KIND);
    else if (state === "waiting") {
      announce("Kept on this device. It is sent once the server can be reached.");
      location.hash = "#boxes";
    } else location.hash = address(id);
  }

  function showRefusal({ problem }) {
    if (problem.errors.some(({ pointer }) => pointer === "/departed_at")) departure.hidden = false;
    const left = showErrors(formNode, problem.errors);
    place.replaceChildren(failure(refusalOf(problem), null, left));
    formNode.querySelector("[aria-invalid]")?.focus();
  }

  function startAnew() {
    if (entry) forgetWaiting(entry);
    forgetEntered(id, KIND);
    draw(root, { id, name, form: begin(), begin, entry: null, resumed: false, corrects });
    root.querySelector("h1").focus();
    announce("Begun anew.");
  }

  /* Of a departure on record it is asked only where the server finds that the times do not fit each other. */
  const recorded = form.departure ? toTyped(form.departure) : null;
  const departure = field(
    "Left the seller",
    momentInput(form.departed_at ?? recorded, (value) => {
      form.departed_at = value;
      changed();
    }),
    {
      pointer: "/departed_at",
      hint: recorded
        ? orCorrect(form.departure)
        : "If you know it; else the planned day is taken.",
    },
  );
  departure.hidden = form.departure_known && !form.departed_at;

  const formNode = el(
    "form",
    { class: "unboxing", novalidate: true, on: { submit: record } },
    meanings(),
    cards,
    el("div", { class: "actions" }, add),
    el("h2", {}, "When"),
    el(
      "div",
      { class: "fields" },
      field(
        "Delivered",
        momentInput(form.arrived_at, (value) => {
          form.arrived_at = value;
          changed();
        }),
        { pointer: "/arrived_at" },
      ),
      field(
        "Opened",
        momentInput(form.opened_at, (value) => {
          form.opened_at = value;
          changed();
        }),
        { pointer: "/opened_at", hint: "If later than delivered." },
      ),
      departure,
    ),
    el("h2", {}, "Notes and photographs"),
    notesField(form, changed),
    photosField(form, changed),
    loggerPart(form, changed),
    place,
    el("div", { class: "sticky" }, sum, button),
  );

  root.replaceChildren(
    el("p", {}, el("a", { href: address(id) }, "Back to the box")),
    el("h1", { tabindex: "-1" }, `Unpack: ${name}`),
    el(
      "p",
      {},
      "Wear gloves. Photograph everything before you trim or throw away. All count as healthy until you say otherwise, and the numbers always add up.",
    ),
    resumed
      ? el(
          "div",
          { class: "notice" },
          el(
            "p",
            {},
            entry
              ? "These counts are kept on this device and were not taken in yet."
              : "Carried on where you stopped on this device.",
          ),
          el("button", { type: "button", class: "small", on: { click: startAnew } }, "Begin anew"),
        )
      : "",
    formNode,
  );
  drawCards();
  if (entry?.state === "refused") showRefusal(entry);
}
