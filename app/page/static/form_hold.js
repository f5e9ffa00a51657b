/* The part of the form that only a hold asks: days that come into question, papers with an age, and forecasts. */

import { get } from "/page/api.js";
import { draft, keep, setAt, valueAt } from "/page/batch.js";
import { el } from "/page/dom.js";
import { dateInput, field, numberInput, readNumber } from "/page/fields.js";
import { fromShown, settings, temperatureSpan, unitName } from "/page/settings.js";
import { cells } from "/page/spreadsheet.js";

const WEEKDAYS = [
  ["mon", "Mon"],
  ["tue", "Tue"],
  ["wed", "Wed"],
  ["thu", "Thu"],
  ["fri", "Fri"],
  ["sat", "Sat"],
  ["sun", "Sun"],
];
const ISO = /^\d{4}-\d{2}-\d{2}$/;

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
      number("Waiting costs", "cost_per_day", `${settings().currency} a day`),
    ),
    el(
      "details",
      { class: "folded" },
      el("summary", {}, "Papers with an age, days without departure", el("span", { class: "count" })),
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
    ),
  );
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

/* Days of a pasted table "date, min, max": {days, faults}; temperatures in the unit of the settings. */
export function readForecast(text) {
  const days = [];
  const faults = [];
  cells(text).forEach(([on, ...rest], i) => {
    const [low, high] = rest.map(readNumber);
    if (i === 0 && !/\d/.test(on)) return; // a header
    const where = `row ${i + 1}`;
    if (!ISO.test(on)) faults.push(`${where}: the date must be written 2027-01-31`);
    else if (typeof low !== "number" || typeof high !== "number")
      faults.push(`${where}: minimum and maximum must be numbers, ${unitName()}`);
    else if (low > high) faults.push(`${where}: the minimum must be at most the maximum`);
    else days.push({ date: on, min_c: Number(fromShown(low).toFixed(2)), max_c: Number(fromShown(high).toFixed(2)) });
  });
  return { days, faults };
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
      `${code}: ${days.length} ${days.length === 1 ? "day" : "days"}, ${temperatureSpan(low, high)}${unused ? " (not on this journey: not used)" : ""} `,
      el("button", { type: "button", class: "small", on: { click: () => take(code, []) } }, `Forget ${code}`),
    );
  }

  function take(code, days) {
    draft().forecast = { ...draft().forecast, [code]: days };
    keep();
    places();
    changed();
  }

  function paste() {
    const { days, faults } = readForecast(text.value);
    const fault = faults.length ? `${faults.join("; ")}.` : "";
    if (!where.value) notes.textContent = "First say where the box leaves and where it goes.";
    else if (!days.length) notes.textContent = fault || "There is nothing to read: a row is a date, a minimum and a maximum.";
    else {
      take(where.value, days);
      notes.textContent = `${days.length} ${days.length === 1 ? "day" : "days"} taken for ${where.value}. ${fault}`;
    }
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
    el("summary", {}, "Forecast", el("span", { class: "count" })),
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
  places();
  return box;
}
