/* A box planned from the batch of the comparison, with one of its routes. */

import { call } from "/page/api.js";
import { draft, missing, requestOf } from "/page/batch.js";
import { changing, endChange } from "/page/boxes/change.js";
import { boxOf } from "/page/boxes/known.js";
import { address, path, plantName, wayOf } from "/page/boxes/words.js";
import { announce, el } from "/page/dom.js";
import { departureQuestion } from "/page/far_dates.js";
import { clearErrors, field, showErrors, textInput } from "/page/fields.js";
import { keepBox } from "/page/kept.js";
import { askOnce, failure } from "/page/notices.js";
import { tableOf } from "/page/plot.js";
import { randomKey } from "/page/random_key.js";
import { count, date, money } from "/page/settings.js";

/* `day` is the day it leaves, where another than that of the batch. */
export function show(root, index, day, signal) {
  const changes = changing();
  root.append(el("h1", {}, changes ? `Change the plan of ${changes.name}` : "Plan this box"));
  const batch = day ? { ...draft(), ship_date: day } : draft();
  const route = batch.routes[index];
  const wanted = missing(batch);
  if (!route || wanted.length) {
    root.append(
      el(
        "p",
        {},
        route ? `Still needed: ${wanted.map(({ text }) => text).join(", ")}.` : "That route is not in the comparison.",
      ),
      el("p", {}, el("a", { class: "button", href: "#compare" }, "To the comparison")),
    );
    return;
  }
  const { body } = requestOf(batch, { only: index });
  if (changes?.currency) body.currency = changes.currency;
  let reference = changes?.reference ?? null;
  let tried = null; // one key for one body: planned once, however often the button is pressed
  let asked = false;
  const place = el("div");
  const button = el("button", { type: "submit", class: "main" }, changes ? "Keep this plan" : "Plan it");
  const form = el(
    "form",
    { class: "narrow", on: { submit: plan } },
    field(
      "Name of the box",
      textInput(reference, (text) => (reference = text), { maxlength: 120 }),
      {
        pointer: "/reference",
        hint: "Your order number, or any name of your own; may be left empty.",
      },
    ),
    place,
    el("div", { class: "actions" }, button, el("a", { class: "button", href: "#compare" }, "Back")),
  );
  root.append(summary(body, changes), form);

  async function plan(event) {
    event?.preventDefault();
    const question = departureQuestion(body.ship_date);
    if (question && !asked) {
      asked = true;
      place.replaceChildren(askOnce(question, button));
      return;
    }
    button.disabled = true;
    place.replaceChildren();
    clearErrors(form);
    if (changes) {
      await change();
      button.disabled = false;
      return;
    }
    const text = JSON.stringify(reference ? { ...body, reference } : body);
    if (tried?.text !== text) tried = { text, key: randomKey() };
    try {
      const { data, headers } = await call("POST", "/v1/shipments", {
        body: text,
        type: "application/json",
        headers: { "Idempotency-Key": tried.key },
        signal,
      });
      keepBox(data, headers.get("etag"));
      announce("The box is planned.");
      location.hash = address(data.id);
    } catch (fault) {
      if (signal.aborted) return;
      place.replaceChildren(failure(fault, plan, showErrors(form, fault.errors ?? [])));
    }
    button.disabled = false;
  }

  /* In the place of the plan on record as it is now, unless the box has left meanwhile. */
  async function change() {
    try {
      const { etag, fault } = await boxOf(changes.id, signal);
      if (fault) throw fault;
      const { data, headers } = await call("PUT", path(changes.id, "plan"), {
        body: reference ? { ...body, reference } : body,
        headers: { "If-Match": etag },
        signal,
      });
      keepBox(data, headers.get("etag"));
      endChange();
      announce("The plan is changed.");
      location.hash = address(data.id);
    } catch (fault) {
      if (!signal.aborted) place.replaceChildren(failure(fault, plan, showErrors(form, fault.errors ?? [])));
    }
  }
}

function summary(body, changes) {
  const price = (amount) => money(amount, body.currency);
  const [route] = body.routes;
  return el(
    "div",
    {},
    el(
      "p",
      {},
      `${wayOf({ ...body, service: route.name })}, to leave ${date(body.ship_date)}${body.seller ? `, from ${body.seller}` : ""}. Freight ${price(route.freight)}.`,
    ),
    el(
      "div",
      { class: "scroll", tabindex: "0", role: "region", "aria-label": "Table: plants of this box" },
      tableOf({
        head: ["Plant", "Ordered", "Cost of one"],
        rows: body.lines.map((line) => [plantName(line), count(line.quantity), price(line.unit_cost)]),
      }),
    ),
    el(
      "p",
      {},
      changes
        ? "It takes the place of the plan on record, with a forecast as it stands today, which is compared with what arrives."
        : "The forecast is stored with it as it stands today, and is compared with what arrives.",
    ),
  );
}
