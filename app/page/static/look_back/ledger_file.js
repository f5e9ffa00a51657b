/* The ledger as a CSV file: taken in, all or nothing, and given out. */

import { call, Problem } from "/page/api.js";
import { announce, download, el } from "/page/dom.js";
import { field } from "/page/fields.js";
import { failure } from "/page/notices.js";
import { tableOf } from "/page/plot.js";
import { boxesOf, many } from "/page/plural.js";
import { count, said, today } from "/page/settings.js";

const TYPE = "text/csv";
const CONFLICT = 409;
const AMBIGUOUS = "ambiguous_date";

/* `taken()` hears of a file that was taken in. */
export function ledgerFile(signal, taken) {
  const place = el("div", { role: "status" });
  const input = el("input", { type: "file", accept: ".csv,text/csv" });
  const button = el("button", { type: "submit", class: "main" }, "Take in");

  async function take({ replace = false, dates = null } = {}) {
    const [file] = input.files;
    if (!file) {
      place.replaceChildren(el("p", { class: "notice" }, "Choose a CSV file first."));
      return;
    }
    button.disabled = true;
    place.replaceChildren(el("p", {}, `Reading ${file.name} …`));
    try {
      const asked = new URLSearchParams({ ...(replace ? { replace } : {}), ...(dates ? { dates } : {}) });
      const { data } = await call("POST", `/v1/shipments/import?${asked}`, {
        body: file,
        type: TYPE,
        signal,
      });
      place.replaceChildren(
        el(
          "p",
          { class: "notice" },
          `${boxesOf(data.added)} added, ${count(data.unchanged)} unchanged, ${count(data.replaced)} replaced; ${many(data.lines, "line")}.`,
        ),
        ...doubtfulRows(data),
      );
      taken();
    } catch (fault) {
      if (signal.aborted) return;
      place.replaceChildren(...refusal(fault, () => take({ replace: true, dates }), (order) => take({ replace, dates: order })));
    } finally {
      button.disabled = false;
    }
  }

  async function give() {
    try {
      const { data } = await call("GET", "/v1/shipments/export", { signal });
      download(`boxes-${today()}.csv`, data ?? "", TYPE);
      announce("The file is offered for download.");
    } catch (fault) {
      if (!signal.aborted) place.replaceChildren(failure(fault, give));
    }
  }

  async function giveEmpty() {
    try {
      const { data } = await call("GET", "/v1/shipments/export?empty=true", { signal });
      download("boxes-empty.csv", data, TYPE);
      announce("The file is offered for download.");
    } catch (fault) {
      if (!signal.aborted) place.replaceChildren(failure(fault, giveEmpty));
    }
  }

  return [
    el(
      "form",
      {
        class: "narrow",
        on: {
          submit: (event) => {
            event.preventDefault();
            take();
          },
        },
      },
      field("File of arrived boxes", input, {
        hint: "CSV with the columns of an export. Taken in as a whole or not at all.",
      }),
      el(
        "div",
        { class: "actions" },
        button,
        el("button", { type: "button", on: { click: give } }, "Give out all arrived boxes"),
        el("button", { type: "button", on: { click: giveEmpty } }, "An empty file to start from"),
      ),
    ),
    place,
  ];
}

/* The rows that were taken in and look wrong. */
function doubtfulRows({ doubtful, unchecked }) {
  return [
    doubtful.length
      ? el(
          "div",
          { class: "scroll", tabindex: "0", role: "region", "aria-label": "Table: rows that look wrong" },
          tableOf({
            caption: "Rows that look wrong. They were taken in and are used: confirm or correct them above",
            head: ["Row", "Box", "Column", "Why"],
            rows: doubtful.map(({ row, shipment, column, text }) => [count(row), shipment, column, said(text)]),
          }),
        )
      : null,
    unchecked ? el("p", { class: "hint" }, `${boxesOf(unchecked)} not looked at yet; learning from the boxes does.`) : null,
  ].filter(Boolean);
}

/* Dates that may be read in two ways: `inOrder` hears which is meant. */
function whichOrder(inOrder) {
  const answer = (order, words) => el("button", { type: "button", on: { click: () => inOrder(order) } }, words);
  return el(
    "div",
    { class: "notice", role: "group", "aria-labelledby": "which-order" },
    el("p", { id: "which-order" }, "The file has dates that may be read in two ways. What is meant by such as 03/04/2027?"),
    el("div", { class: "actions" }, answer("day_first", "3 April: day first"), answer("month_first", "4 March: month first")),
  );
}

/* What is wrong with a file, cell by cell. */
function refusal(fault, replace, inOrder) {
  const cells = (fault.errors ?? []).filter(({ row }) => row !== null && row !== undefined);
  const others = (fault.errors ?? []).filter((error) => !cells.includes(error));
  const isAmbiguous = cells.some(({ code }) => code === AMBIGUOUS);
  return [
    failure(fault, null, others),
    isAmbiguous ? whichOrder(inOrder) : null,
    cells.length
      ? el(
          "div",
          { class: "scroll", tabindex: "0", role: "region", "aria-label": "Table: cells to mend" },
          tableOf({
            head: ["Row", "Column", "What would be right"],
            rows: cells.map(({ row, column, message }) => [count(row), column ?? "the row", message]),
          }),
        )
      : null,
    fault instanceof Problem && fault.status === CONFLICT
      ? el(
          "div",
          { class: "actions" },
          el("button", { type: "button", on: { click: replace } }, "Replace the boxes that differ"),
        )
      : null,
  ].filter(Boolean);
}
