/* Lines of plants out of cells copied from a spreadsheet, with or without a header. */

import { readCount, readPrice } from "/page/amounts.js";
import { settings } from "/page/settings.js";

export const COLUMNS = ["genus", "cultivar", "quantity", "unit_cost", "sale_value"];
const WITHOUT_HEADER = { 5: COLUMNS, 4: COLUMNS.filter((name) => name !== "cultivar"), 2: ["genus", "quantity"] };
/* What a header may call each column, without signs and spaces. */
const NAMES = {
  genus: ["genus", "plant", "name", "species", "botanicalname", "item"],
  cultivar: ["cultivar", "variety", "form", "selection"],
  quantity: ["quantity", "qty", "count", "number", "plants", "pieces", "pcs", "n"],
  unit_cost: ["unitcost", "cost", "unitprice", "price", "buyprice", "costeach", "costofone", "priceeach", "paid"],
  sale_value: ["salevalue", "saleprice", "sellingprice", "sellprice", "sale", "sell", "sellsfor", "sellsat", "retail", "value", "resale"],
};

const bare = (text) => text.toLowerCase().replace(/\([^)]*\)/g, "").replace(/[^a-z]/g, "");
const columnOf = (text) => COLUMNS.find((column) => NAMES[column].includes(bare(text)));

const TOTAL = /^(grand|sub)?[\s-]*(total|sum|summe|gesamt|totaal|totale|somme|suma|summa)e?s?\b[^a-z]*(plants|pcs|pieces|value|amount|price|cost|qty)?[:.\s]*$/i;

/* Whether pasted text is a table rather than the content of one cell. */
export const isTable = (text) => /\t|\n./.test(text.trim());

/* Cells of each row; tabs separate, else semicolons, else commas; quotes may hold any of them. */
export function cells(text) {
  const first = text.split("\n", 1)[0];
  const separator = ["\t", ";", ","].find((sign) => first.includes(sign)) ?? "\t";
  const rows = [[]];
  let cell = "";
  let quoted = false;
  for (let i = 0; i < text.length; i += 1) {
    const sign = text[i];
    if (quoted) {
      if (sign !== '"') cell += sign;
      else if (text[i + 1] === '"') cell += text[(i += 1)];
      else quoted = false;
    } else if (sign === '"' && cell.trim() === "") {
      cell = "";
      quoted = true;
    } else if (sign === separator || sign === "\n") {
      rows.at(-1).push(cell.trim());
      cell = "";
      if (sign === "\n") rows.push([]);
    } else if (sign !== "\r") cell += sign;
  }
  rows.at(-1).push(cell.trim());
  return rows.filter((row) => row.some((content) => content !== ""));
}

/* A name as sellers write it, "Genus species 'Cultivar'", as genus and cultivar. */
export function splitName(name) {
  const [genus, ...rest] = name.split(/\s+/);
  return { genus, cultivar: rest.join(" ").replace(/^['‘’"]|['‘’"]$/g, "") || null };
}

/* What stood after the genus, before the cultivar unless that begins with it. */
export const joined = (rest, cultivar) =>
  !cultivar ? rest : cultivar.toLowerCase().startsWith(rest.toLowerCase()) ? cultivar : `${rest} ${cultivar}`;

/* Whether a row sums up those above it: it says so, or is the last, without a plant, and its count is their sum. */
function isTotal(row, line, above, isLast) {
  if (row.some((content) => TOTAL.test(content))) return true;
  const sum = above.reduce((all, { quantity }) => all + (typeof quantity === "number" ? quantity : 0), 0);
  return isLast && !line.genus && above.length > 0 && line.quantity === sum;
}

/* Read a table: {lines, notes}. A cell that should be a number and is none stays as it is, for the form to complain
   about at its place; notes say what was made of the columns. */
export function readLines(text) {
  const rows = cells(text);
  if (!rows.length) return { lines: [], notes: ["There is nothing to read: copy the cells and paste them here."] };
  const named = rows[0].map(columnOf);
  const hasHeader = named.filter(Boolean).length >= 2 || (rows[0].length === 1 && named[0] !== undefined);
  const width = Math.max(...rows.map((row) => row.length));
  const columns = hasHeader ? named : (WITHOUT_HEADER[width] ?? COLUMNS);
  const notes = [];
  if (hasHeader) {
    const unused = rows[0].filter((content, i) => content && !named[i]);
    if (unused.length) notes.push(`Not used: ${unused.join(", ")}.`);
    const repeated = named.filter((name, i) => name && named.indexOf(name) !== i);
    if (repeated.length) notes.push(`More than one column for ${repeated.join(", ")}: the first is taken.`);
  } else {
    notes.push(`No header: read as ${columns.slice(0, width).join(", ").replaceAll("_", " ")}.`);
  }
  const lines = [];
  const totals = [];
  const currencies = new Set();
  rows.slice(hasHeader ? 1 : 0).forEach((row, i, all) => {
    const line = {};
    for (const name of COLUMNS) {
      const content = row[columns.indexOf(name)] ?? "";
      if (name === "quantity") line[name] = readCount(content);
      else if (name === "unit_cost" || name === "sale_value") {
        const { value, currency } = readPrice(content);
        line[name] = value;
        if (currency) currencies.add(currency);
      } else line[name] = content || null;
    }
    if (isTotal(row, line, lines, i === all.length - 1)) {
      totals.push(i + (hasHeader ? 2 : 1));
      return;
    }
    if (line.genus && /\s/.test(line.genus)) {
      const { genus, cultivar } = splitName(line.genus);
      Object.assign(line, { genus, cultivar: joined(cultivar, line.cultivar) });
    }
    lines.push(line);
  });
  if (totals.length) notes.push(`Left out as a total: row ${totals.join(", ")}.`);
  const foreign = [...currencies].filter((code) => code !== settings().currency);
  if (foreign.length)
    notes.push(`Amounts are in ${foreign.join(", ")}, and taken as ${settings().currency}: nothing is converted.`);
  notes.push(`${lines.length} ${lines.length === 1 ? "line" : "lines"} read.`);
  return { lines, notes };
}
