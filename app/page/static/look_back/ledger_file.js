/* The ledger as a CSV file: taken in, all or nothing, and given out. */

import { call, Problem } from "/page/api.js";
import { announce, download, el } from "/page/dom.js";
import { field } from "/page/fields.js";
import { packings, places, services } from "/page/lists.js";
import { failure } from "/page/notices.js";
import { tableOf } from "/page/plot.js";
import { boxesOf, many } from "/page/plural.js";
import { count, date, said, today } from "/page/settings.js";
import { cells } from "/page/spreadsheet.js";

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
      const again = (order) => take({ replace, dates: order });
      place.replaceChildren(...(await refusal(fault, file, () => take({ replace: true, dates }), again)));
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
    codesFold(),
    place,
  ];
}

/* What the cells of a file may hold, by the names that the page has for it; read once the fold is opened. */
function codesFold() {
  const list = el("dl", {});
  const fold = el(
    "details",
    {},
    el("summary", {}, "What the columns hold"),
    el("p", {}, "All columns of an export must be named in the header. Shipment, service, origin, destination, container, roots, the dates, genus and sent are filled in every row; elsewhere an empty cell means that it is not known."),
    list,
  );
  fold.addEventListener("toggle", async () => {
    if (!fold.open || list.children.length) return;
    const [kinds, ways, codes] = await Promise.all([packings(), services(), places()]);
    const of = (kind) => kinds.filter((row) => row.kind === kind).map(({ code, name }) => `${code}: ${name}`);
    const rows = [
      ["service", ways.map(({ service, name }) => `${service}: ${name}`).join("; ")],
      ["container", of("container").join("; ")],
      ["roots", of("roots").join("; ")],
      ["origin, destination", `the code of a place, such as ${codes[0].code}: ${codes[0].city ?? codes[0].name}`],
    ];
    list.replaceChildren(...rows.flatMap(([name, text]) => [el("dt", {}, name), el("dd", {}, text)]));
  });
  return fold;
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

const WRITTEN = /^\d{1,2}[-/]\d{1,2}[-/](\d{2}|\d{4})$/;

/* A cell of the file as it was written, of a fault's {row, column}; null where it is no such date. */
async function writtenDate(file, { row, column }) {
  const rows = cells(await file.text());
  const at = rows[0].findIndex((name) => name.toLowerCase() === column);
  const written = rows[row - 1]?.[at] ?? "";
  return WRITTEN.test(written) ? written : null;
}

/* Dates that may be read in two ways, such as `written`: `inOrder` hears which is meant. */
function whichOrder(inOrder, written, n) {
  const [one, other, year] = written.split(/[-/]/).map(Number);
  const named = (day, month) =>
    date(`${year < 100 ? 2000 + year : year}-${String(month).padStart(2, "0")}-${String(day).padStart(2, "0")}`, { day: "numeric", month: "long" });
  const answer = (order, words) => el("button", { type: "button", on: { click: () => inOrder(order) } }, words);
  return el(
    "div",
    { class: "notice", role: "group", "aria-labelledby": "which-order" },
    el("p", { id: "which-order" }, `The file has dates that may be read in two ways (${many(n, "cell")}). What is meant by such as ${written}?`),
    el(
      "div",
      { class: "actions" },
      answer("day_first", `${named(one, other)}: day first`),
      answer("month_first", `${named(other, one)}: month first`),
    ),
  );
}

/* What is wrong with a file, cell by cell; dates that one answer settles are asked about once and not listed. */
async function refusal(fault, file, replace, inOrder) {
  const all = (fault.errors ?? []).filter(({ row }) => row !== null && row !== undefined);
  const others = (fault.errors ?? []).filter((error) => !all.includes(error));
  const ambiguous = all.filter(({ code }) => code === AMBIGUOUS);
  const faulty = all.filter(({ code }) => code !== AMBIGUOUS);
  return [
    failure(fault, null, others),
    ambiguous.length ? whichOrder(inOrder, (await writtenDate(file, ambiguous[0])) ?? "03/04/2027", ambiguous.length) : null,
    faulty.length
      ? el(
          "div",
          { class: "scroll", tabindex: "0", role: "region", "aria-label": "Table: cells to mend" },
          tableOf({
            head: ["Row", "Column", "What would be right"],
            rows: faulty.map(({ row, column, message }) => [count(row), column ?? "the row", message]),
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
