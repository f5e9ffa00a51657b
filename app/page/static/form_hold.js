/* The part of the form that only a hold asks: days that come into question, papers with an age, and forecasts. */

import { amountInput } from "/page/amounts.js";
import { get } from "/page/api.js";
import { draft, keep, setAt, valueAt } from "/page/batch.js";
import { el } from "/page/dom.js";
import { dateInput, field, numberInput } from "/page/fields.js";
import { fahrenheitQuestion, readForecast } from "/page/forecast_text.js";
import { sayInForce } from "/page/in_force.js";
import { places as listed } from "/page/lists.js";
import { date, settings, temperatureSpan, unitName } from "/page/settings.js";

const SHORT_DATE = { day: "numeric", month: "short" };
const WEEKDAYS = [
  ["mon", "Mon"],
  ["tue", "Tue"],
  ["wed", "Wed"],
  ["thu", "Thu"],
  ["fri", "Fri"],
  ["sat", "Sat"],
  ["sun", "Sun"],
];

export function holdFields(changed) {
  const set = (pointer) => (value) => {
    setAt(pointer, value);
    changed();
  };
  const day = (label, name, hint) =>
    field(label, dateInput(valueAt(`/hold/${name}`), set(`/hold/${name}`)), { pointer: `/${name}`, hint });
  const number = (label, name, unit, hint) =>
    field(label, numberInput(valueAt(`/hold/${name}`), set(`/hold/${name}`)), { pointer: `/${name}`, unit, hint });
  const skipped = new Set(draft().hold.skip_weekdays ?? []);
  const weekday = ([code, name]) =>
    el(
      "label",
      { class: "tick" },
      el("input", {
        type: "checkbox",
        checked: skipped.has(code),
        on: {
          change: (event) => {
            if (event.target.checked) skipped.add(code);
            else skipped.delete(code);
            set("/hold/skip_weekdays")([...skipped]);
          },
        },
      }),
      name,
    );
  const papers = el(
    "details",
    { class: "folded" },
    el("summary", {}, "Papers with an age, days without departure", el("span", { class: "taken" })),
    el(
      "div",
      { class: "fields" },
      day("Certificate issued", "certificate/issued"),
      number("Valid for", "certificate/valid_days", "days"),
      day("Treatment done", "treatment/done"),
      number("Valid for", "treatment/valid_days", "days"),
    ),
    el(
      "fieldset",
      { class: "ticks" },
      el("legend", {}, "No departure on"),
      WEEKDAYS.map(weekday),
    ),
  );
  sayInForce(papers, papersInForce);
  return el(
    "fieldset",
    {},
    el("legend", {}, "Days that come into question"),
    el(
      "div",
      { class: "fields" },
      day("Earliest", "earliest"),
      day("Latest", "latest"),
      day("Needed by", "needed_by", "Last day to open the box."),
      field("Waiting costs", amountInput(valueAt("/hold/cost_per_day"), set("/hold/cost_per_day")), {
        pointer: "/cost_per_day",
        unit: `${settings().currency} a day`,
      }),
    ),
    papers,
  );
}

/* "Certificate of 10 Jan, valid 14 days; no departure on Sat": the papers that count, and the days that do not. */
function papersInForce() {
  const { skip_weekdays: skipped = [], certificate, treatment } = holdBody();
  const paper = (name, begun, { valid_days: valid }) =>
    typeof valid === "number" ? `${name} of ${date(begun, SHORT_DATE)}, valid ${valid} days` : null;
  return [
    certificate ? paper("certificate", certificate.issued, certificate) : null,
    treatment ? paper("treatment", treatment.done, treatment) : null,
    skipped?.length ? `no departure on ${WEEKDAYS.filter(([code]) => skipped.includes(code)).map(([, name]) => name).join(", ")}` : null,
  ]
    .filter(Boolean)
    .join("; ");
}

/* What only a hold asks, as the request wants it. */
export function holdBody(batch = draft()) {
  const body = {};
  for (const [name, value] of Object.entries(batch.hold)) {
    if (value === null || value === undefined || value === "" || (Array.isArray(value) && !value.length)) continue;
    if (typeof value === "object" && !Array.isArray(value)) {
      const own = Object.fromEntries(Object.entries(value).filter(([, part]) => part !== null && part !== undefined));
      // A paper counts once both its day and its validity stand there: between the two it would be refused.
      if (Object.keys(own).length === 2) body[name] = own;
    } else body[name] = value;
  }
  return body;
}

/* "7 days, 28 Nov to 4 Dec": the days said, so that one read the wrong way is seen. */
function daysSaid(days) {
  const sorted = days.map((day) => day.date).sort();
  const [first, last] = [sorted[0], sorted.at(-1)].map((day) => date(day, SHORT_DATE));
  return `${days.length} ${days.length === 1 ? "day" : "days"}, ${first === last ? first : `${first} to ${last}`}`;
}

export function forecastFields(changed) {
  const text = el("textarea", { rows: 4, spellcheck: "false", placeholder: "2027-01-12, -2, 5" });
  const where = el("select", {});
  const notes = el("p", { class: "hint", role: "status" });
  const list = el("div");

  function places() {
    const { origin, destination } = draft();
    const chosen = where.value;
    where.replaceChildren(
      ...[destination, origin].filter(Boolean).map((code) => el("option", { value: code, selected: code === chosen }, code)),
    );
    list.replaceChildren(...Object.entries(draft().forecast).filter(([, days]) => days.length).map(known));
  }

  function known([code, days]) {
    const low = Math.min(...days.map((day) => day.min_c));
    const high = Math.max(...days.map((day) => day.max_c));
    const unused = code !== draft().origin && code !== draft().destination;
    return el(
      "p",
      {},
      `${code}: ${daysSaid(days)}, ${temperatureSpan(low, high)}${unused ? " (not on this journey: not used)" : ""} `,
      el("button", { type: "button", class: "small", on: { click: () => take(code, []) } }, `Forget ${code}`),
    );
  }

  function take(code, days) {
    draft().forecast = { ...draft().forecast, [code]: days };
    keep();
    places();
    tell();
    changed();
  }

  async function paste(_event, unit) {
    const { days, faults, notes: made } = readForecast(text.value, unit);
    const fault = [...made, faults.length ? `${faults.join("; ")}.` : ""].join(" ");
    if (!where.value) notes.textContent = "First say where the box leaves and where it goes.";
    else if (!days.length) notes.textContent = fault || "There is nothing to read: a row is a date, a minimum and a maximum.";
    else {
      take(where.value, days);
      notes.textContent = `${daysSaid(days)} taken for ${where.value}. ${fault}`;
    }
    if (unit || !where.value) return;
    const known = await listed().catch(() => []);
    const question = fahrenheitQuestion(text.value, known.find(({ iata }) => iata === where.value));
    if (question)
      notes.append(
        ` ${question} `,
        el("button", { type: "button", class: "small", on: { click: () => paste(null, "f") } }, "Read them as °F"),
      );
  }

  async function fetchFor() {
    const wanted = [draft().origin, draft().destination].filter(Boolean);
    if (!wanted.length) {
      notes.textContent = "First say where the box leaves and where it goes.";
      return;
    }
    notes.textContent = "Asking …";
    const said = [];
    for (const code of wanted) {
      try {
        const answer = await get(`/v1/forecast/${encodeURIComponent(code)}`);
        if (answer.days.length) take(code, answer.days);
        said.push(`${code}: ${answer.reason}`);
      } catch (fault) {
        said.push(`${code}: ${fault.message}`);
      }
    }
    notes.textContent = said.join(" ");
  }

  const box = el(
    "details",
    { class: "folded" },
    el("summary", {}, "Forecast", el("span", { class: "taken" })),
    el("p", { class: "hint" }, "Without one, the monthly normals of each place and their usual spread are used."),
    list,
    el("div", { class: "actions" }, el("button", { type: "button", on: { click: fetchFor } }, "Fetch the forecast")),
    el(
      "div",
      { class: "fields" },
      field("Forecast of", where),
      field("Rows: date, minimum, maximum", text, { pointer: "/forecast", hint: `In ${unitName()}.`, wide: true }),
    ),
    el("div", { class: "actions" }, el("button", { type: "button", on: { click: paste } }, "Take these days")),
    notes,
  );
  box.addEventListener("toggle", places);
  const tell = sayInForce(box, () =>
    Object.entries(draft().forecast)
      .filter(([code, days]) => days.length && (code === draft().origin || code === draft().destination))
      .map(([code, days]) => `${code} ${daysSaid(days)}`)
      .join("; "),
  );
  places();
  return box;
}
