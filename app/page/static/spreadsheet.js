/* Lines of plants out of cells copied from a spreadsheet, with or without a header, or out of a seller's message. */

import { readCount, readPrice } from "/page/amounts.js";
import { besidePlants, readWritten } from "/page/seller_message.js";
import { settings } from "/page/settings.js";

export const COLUMNS = ["genus", "cultivar", "quantity", "unit_cost", "sale_value"];
const WITHOUT_HEADER = { 5: COLUMNS, 4: COLUMNS.filter((name) => name !== "cultivar"), 2: ["genus", "quantity"] };
const PRICED = ["genus", "quantity", "unit_cost"];
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

/* Whether pasted text is a table or a line of a message rather than the content of one cell. */
export function isTable(text) {
  if (/\t|\n./.test(text.trim())) return true;
  const { line } = readWritten(text);
  return line !== undefined;
}

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
  return { genus, cultivar: rest.join(" ").replace(/^['‘’"]([^'‘’"]*)['‘’"]$/, "$1") || null };
}

/* What stood after the genus, before the cultivar unless that begins with it. */
export const joined = (rest, cultivar) =>
  !cultivar ? rest : cultivar.toLowerCase().startsWith(rest.toLowerCase()) ? cultivar : `${rest} ${cultivar}`;

/* Whether a row is of no plant: "total" where it says so, or is the last, without a plant, and its count is the sum of
   those above it; "charge" where it is freight or another cost. */
function isBeside(row, line, above, isLast) {
  const said = row.map(besidePlants).includes("total") ? "total" : besidePlants(line.genus ?? row.find(Boolean) ?? "");
  if (said) return said;
  const sum = above.reduce((all, { quantity }) => all + (typeof quantity === "number" ? quantity : 0), 0);
  return isLast && !line.genus && above.length > 0 && line.quantity === sum ? "total" : null;
}

const columnsOf = (row) => row.map(columnOf);
const isHeader = (row) => {
  const named = columnsOf(row);
  return named.filter(Boolean).length >= 2 || (row.length === 1 && named[0] !== undefined);
};
const isCount = (content) => typeof readCount(content) === "number";

/* Columns of a table without a header, by its rows; null where they are no table. */
function columnsWithout(rows) {
  const width = Math.max(...rows.map((row) => row.length));
  const plants = rows.filter((row) => !besidePlants(row[0]) && row[0] !== "");
  if (width < 2 || width > COLUMNS.length) return null;
  const every = (test) => plants.every(test);
  if (!every((row) => row.length === width || row.length === width - 1)) return null;
  if (!every(([name]) => /^\p{L}/u.test(name) && !/\d/.test(name))) return null;
  const columns = width === 3 && every((row) => isCount(row[1])) ? PRICED : (WITHOUT_HEADER[width] ?? COLUMNS);
  return every((row) => !row[columns.indexOf("quantity")] || isCount(row[columns.indexOf("quantity")])) ? columns : null;
}

/* Rows of a message, each of cells that stand for themselves: the rows that are of plants, and what else there was. */
function readMessage(text, isGenus) {
  const read = { lines: [], left: { total: [], charge: [] }, currencies: new Set(), words: [] };
  text.split(/\r?\n/).forEach((row, i) => {
    if (!row.trim()) return;
    const { line, currency, left } = readWritten(row, isGenus);
    if (line) read.lines.push(line);
    else if (left === "words") read.words.push(row.trim());
    else read.left[left].push(i + 1);
    if (currency) read.currencies.add(currency);
  });
  return read;
}

/* Rows of a table below its header, if it has one. */
function readTable(rows, columns, from) {
  const read = { lines: [], left: { total: [], charge: [] }, currencies: new Set(), words: [] };
  rows.forEach((row, i, all) => {
    const line = {};
    for (const name of COLUMNS) {
      const content = row[columns.indexOf(name)] ?? "";
      if (name === "quantity") line[name] = readCount(content);
      else if (name === "unit_cost" || name === "sale_value") {
        const { value, currency } = readPrice(content);
        line[name] = value;
        if (currency) read.currencies.add(currency);
      } else line[name] = content || null;
    }
    const beside = isBeside(row, line, read.lines, i === all.length - 1);
    if (beside) read.left[beside].push(i + from);
    else read.lines.push(line);
  });
  return read;
}

const SHOWN_WORDS = 3;
const shortened = (words) => `“${words.length > 30 ? `${words.slice(0, 29).trim()}…` : words}”`;

function notesOf({ lines, left, currencies, words }) {
  const notes = [];
  if (left.total.length) notes.push(`Left out as a total: row ${left.total.join(", ")}.`);
  if (left.charge.length) notes.push(`Left out as freight or another charge: row ${left.charge.join(", ")}; see Costs.`);
  const more = words.length - SHOWN_WORDS;
  if (words.length)
    notes.push(`No plant is read in: ${words.slice(0, SHOWN_WORDS).map(shortened).join(", ")}${more > 0 ? `, and ${more} more` : ""}.`);
  const foreign = [...currencies].filter((code) => code !== settings().currency);
  if (foreign.length)
    notes.push(`Amounts are in ${foreign.join(", ")}, and taken as ${settings().currency}: nothing is converted.`);
  notes.push(`${lines.length} ${lines.length === 1 ? "line" : "lines"} read.`);
  return notes;
}

/* Read a table or a message: {lines, notes}. A cell that should be a number and is none stays as it is, for the form to
   complain about at its place; notes say what was made of the columns. `isGenus(word)` knows the names of genera. */
export function readLines(text, isGenus) {
  const rows = cells(text);
  if (!rows.length) return { lines: [], notes: ["There is nothing to read: copy the cells and paste them here."] };
  const hasHeader = isHeader(rows[0]);
  // Cells between tabs or semicolons are meant as cells, whatever stands in them; a comma is also a sign of sentences.
  const sheet = /[\t;]/.test(text.split("\n", 1)[0]);
  const width = Math.max(...rows.map((row) => row.length));
  const unnamed = () => columnsWithout(rows) ?? (sheet ? (WITHOUT_HEADER[width] ?? COLUMNS) : null);
  const columns = hasHeader ? columnsOf(rows[0]) : unnamed();
  const notes = [];
  if (hasHeader) {
    const unused = rows[0].filter((content, i) => content && !columns[i]);
    if (unused.length) notes.push(`Not used: ${unused.join(", ")}.`);
    const repeated = columns.filter((name, i) => name && columns.indexOf(name) !== i);
    if (repeated.length) notes.push(`More than one column for ${repeated.join(", ")}: the first is taken.`);
  } else if (columns) {
    notes.push(`No header: read as ${columns.slice(0, width).join(", ").replaceAll("_", " ")}.`);
  }
  const read = columns ? readTable(rows.slice(hasHeader ? 1 : 0), columns, hasHeader ? 2 : 1) : readMessage(text, isGenus);
  for (const line of read.lines) {
    if (!line.genus || !/\s/.test(line.genus)) continue;
    const { genus, cultivar } = splitName(line.genus);
    Object.assign(line, { genus, cultivar: joined(cultivar, line.cultivar) });
  }
  return { lines: read.lines, notes: [...notes, ...notesOf(read)] };
}
