/* The first visit: your shop, your seller, your first batch, one short step each; or the invented batch. */

import { amountInput } from "/page/amounts.js";
import { call, NetworkDown, Problem } from "/page/api.js";
import { draft, inventedDraft, keep, setAt, takeDraft, valueAt } from "/page/batch.js";
import { currencyField } from "/page/currency_field.js";
import { announce, el } from "/page/dom.js";
import { choice, field, showErrors, textInput } from "/page/fields.js";
import { placeField } from "/page/form_journey.js";
import { lineFields } from "/page/form_lines.js";
import { RECOURSE, SELLER_KINDS } from "/page/form_terms.js";
import { places } from "/page/lists.js";
import { sellerPath } from "/page/sellers/words.js";
import { keepSettings, settings } from "/page/settings.js";

export const title = "First steps";

const STEPS = [
  { name: "Your shop", fill: shop },
  { name: "Your seller", fill: seller },
  { name: "Your first batch", fill: batch },
];
const unchanged = () => {}; // kept with each entry; nothing here waits for an answer

/* "#start", "#start/2", "#start/3" */
export async function show(root, parts, signal) {
  const at = Math.min(Math.max(Number(parts[0]) || 1, 1), STEPS.length);
  const { name, fill } = STEPS[at - 1];
  const { fields, done } = await fill();
  if (signal.aborted) return;
  root.append(
    el("h1", {}, "Three steps to your first answer"),
    el(
      "ol",
      { class: "stepping" },
      STEPS.map((step, i) => el("li", { "aria-current": i + 1 === at ? "step" : null }, step.name)),
    ),
    el(
      "form",
      {
        class: "start",
        autocomplete: "off",
        on: {
          submit: (event) => {
            event.preventDefault();
            if (unmatchedPlaces(event.target)) return;
            if (done?.() === false) return; // what is wrong is said at its field
            location.hash = at < STEPS.length ? `#start/${at + 1}` : "#compare";
          },
        },
      },
      el("h2", {}, `Step ${at} of ${STEPS.length}: ${name}`),
      fields,
      el(
        "div",
        { class: "actions" },
        el("button", { type: "submit", class: "main" }, at < STEPS.length ? "Next" : "To the answer"),
        at > 1 ? el("a", { class: "button", href: `#start/${at - 1}` }, "Back") : null,
      ),
    ),
    el(
      "p",
      { class: "hint" },
      "All of it is kept in this browser and can be changed later; nothing is needed but what you know. ",
      el(
        "button",
        {
          type: "button",
          class: "link",
          on: {
            click: () => {
              takeDraft(inventedDraft());
              location.hash = "#compare";
            },
          },
        },
        "Show me an invented batch instead",
      ),
    ),
  );
}

/* Whether a place was typed that is none; said at its field, which is gone to. */
function unmatchedPlaces(form) {
  const unmatched = [...form.querySelectorAll("[role=combobox][data-pointer]")].filter(
    (input) => input.value.trim() && !valueAt(input.dataset.pointer),
  );
  const message = "not in the list of places: choose one, give the three letters of its airport, or leave it empty";
  showErrors(form, unmatched.map((input) => ({ pointer: input.dataset.pointer, message })));
  unmatched[0]?.focus();
  return unmatched.length > 0;
}

async function shop() {
  const wanted = { unit: settings().unit };
  const currency = currencyField(settings().currency);
  return {
    fields: el(
      "div",
      { class: "fields" },
      currency.node,
      field(
        "Temperatures in",
        choice(
          wanted.unit,
          [
            ["c", "°C"],
            ["f", "°F"],
          ],
          (value) => (wanted.unit = value),
        ),
      ),
      placeField("Boxes come to", "/destination", await places(), unchanged),
    ),
    done() {
      const code = currency.read();
      if (!code) return false;
      keepSettings({ ...wanted, currency: code, home: draft().destination });
      announce("Kept in this browser.");
      return true;
    },
  };
}

async function seller() {
  const set = (pointer) => (value) => setAt(pointer, value);
  return {
    fields: el(
      "div",
      { class: "fields" },
      field("Seller", textInput(draft().seller, set("/seller"), { maxlength: 120 }), {
        hint: "The name you know it by. With a fact beside it, it is put on record.",
      }),
      field("The seller is", choice(draft().seller_kind, SELLER_KINDS, set("/seller_kind"))),
      placeField("Boxes leave from", "/origin", await places(), unchanged),
      field("For dead plants I get", choice(draft().recourse.kind ?? null, RECOURSE, set("/recourse/kind"))),
    ),
    done: recordSeller,
  };
}

/* Put the seller on record where something is said of it. One that is there already stays as it is, and what cannot be
   recorded now is in the batch all the same, and recorded with its box. */
async function recordSeller() {
  const { seller: name, seller_kind: kind, recourse } = draft();
  if (!name || !(kind || recourse.kind)) return;
  try {
    await call("PUT", sellerPath(name), {
      body: { name, kind, recourse: recourse.kind ?? null },
      headers: { "If-None-Match": "*" },
    });
    announce(`${name} is on record.`);
  } catch (fault) {
    if (!(fault instanceof Problem || fault instanceof NetworkDown)) throw fault;
  }
}

async function batch() {
  return {
    fields: el(
      "div",
      {},
      await lineFields(unchanged),
      el(
        "div",
        { class: "fields" },
        draft().routes.map((route, i) =>
          field(
            `Freight by ${route.name}`,
            amountInput(route.freight, (value) => setAt(`/routes/${i}/freight`, value)),
            { unit: settings().currency, hint: i ? "One of the ways is enough." : null },
          ),
        ),
      ),
    ),
    done: () => keep(),
  };
}
