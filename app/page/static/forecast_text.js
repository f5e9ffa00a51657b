/* Days out of a pasted forecast: a date, a minimum and a maximum a row, as weather pages and spreadsheets write them. */

import { readNumber } from "/page/fields.js";
import { count, date as dateSaid, settings, temperatureSpan, today, unitName } from "/page/settings.js";
import { cells } from "/page/spreadsheet.js";
import { plain } from "/page/spelling.js";

const DAY_MS = 86_400_000;
const DAYS_BACK = 31;
const YEAR_FIRST = /^(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[t ]0?0:00(?::00)?z?)?$/;
const TWO_NUMBERS = /^(\d{1,2})\s*([-/.])\s*(\d{1,2})(?:\s*[-/.]\s*(\d{4})|\s*[/.]\s*(\d{2}))?\.?$/;
const TEMPERATURE = /^([+−–-]?\s*\d+(?:[.,]\d+)?)\s*(?:[°º˚]\s*)?([cf])?$/i;
/* "Sat Nov 28 -9 °C 2 °C" and "28/11 -9/2", with nothing but spaces or a stroke between. */
const IN_ONE_CELL =
  /^(.*?\S)[\s:]+([+−–-]?\d+(?:[.,]\d+)?\s*[°º˚]?\s*[cf]?)\s*(?:\s|\/|to|…|\.\.)\s*([+−–-]?\d+(?:[.,]\d+)?\s*[°º˚]?\s*[cf]?)$/i;
/* "low 3 °C high 8 °C": words before the numbers of a row. */
const NAMED = /[\s,:]*\b(?:low|lowest|min|minimum|high|highest|max|maximum|lo|hi)\b\.?[:=]?\s*(?=[+−–-]?\d)/gi;
const HEADERS = { low: ["min", "low", "tmin", "minimum", "lowest"], high: ["max", "high", "tmax", "maximum", "highest"] };
const CENTURY = 2000;
const LANGUAGES = ["en", "de", "fr", "nl", "es", "it", "pt", "sv"];

const letters = (text) => plain(text).replace(/[^\p{L}]/gu, "");

let names = null;

/* Names of months and weekdays in some languages and the reader's: {months: {name: 1-12}, weekdays: set}. */
function calendarNames() {
  if (names) return names;
  const months = new Map();
  const weekdays = new Set();
  for (const language of [...LANGUAGES, settings().locale || undefined])
    for (const form of ["long", "short"]) {
      const of = (options) => new Intl.DateTimeFormat(language, { timeZone: "UTC", ...options });
      for (let i = 0; i < 12; i += 1) {
        const name = letters(of({ month: form }).format(Date.UTC(2027, i, 15)));
        if (name.length > 2 && !months.has(name)) months.set(name, i + 1);
      }
      for (let i = 0; i < 7; i += 1) weekdays.add(letters(of({ weekday: form }).format(Date.UTC(2027, 0, 4 + i))));
    }
  months.set("sept", 9);
  for (const name of ["tues", "wednes", "thur", "thurs"]) weekdays.add(name);
  names = { months, weekdays };
  return names;
}

/* A date of the calendar as "2027-01-31", or null; without a year that of the coming months, or of the last. */
function dated(year, month, day) {
  const at = (y) => {
    const moment = new Date(Date.UTC(y, month - 1, day));
    return moment.getUTCMonth() === month - 1 && moment.getUTCDate() === day ? moment.toISOString().slice(0, 10) : null;
  };
  if (year) return at(year);
  const from = new Date(new Date(`${today()}T00:00:00Z`).getTime() - DAYS_BACK * DAY_MS).toISOString().slice(0, 10);
  const own = Number(from.slice(0, 4));
  return [own, own + 1].map(at).find((iso) => iso && iso >= from) ?? null;
}

/* What a text says of a day: {iso}, or {numbers: [first, second], year} where either may be the month, or null. */
function readDay(text) {
  const bare = text.trim().replace(/\s+/g, " ");
  const first = YEAR_FIRST.exec(bare.toLowerCase());
  if (first) return isoOrNull(dated(Number(first[1]), Number(first[2]), Number(first[3])));
  const { months, weekdays } = calendarNames();
  const named = bare.split(/[\s,]+/);
  const both = named.filter((word) => months.has(letters(word))).length > 1; // "mar" is Tuesday, and March
  const words = named.filter((word) => !weekdays.has(letters(word)) || (months.has(letters(word)) && !both));
  const numbers = TWO_NUMBERS.exec(words.join(" "));
  if (numbers) {
    const [one, other] = [Number(numbers[1]), Number(numbers[3])];
    const year = numbers[4] ? Number(numbers[4]) : numbers[5] ? CENTURY + Number(numbers[5]) : null;
    return numbers[2] === "." ? isoOrNull(dated(year, other, one)) : { numbers: [one, other], year };
  }
  const parts = words.flatMap((word) => word.split("-")).filter((word) => word && word !== "de");
  const month = parts.find((word) => months.has(letters(word)));
  const rest = parts.filter((word) => word !== month).map((word) => /^(\d{1,4})(st|nd|rd|th|\.|º)?$/i.exec(word)?.[1]);
  if (!month || !rest.length || rest.length > 2 || rest.includes(undefined)) return null;
  const year = rest.find((digits) => digits.length === 4);
  const day = rest.find((digits) => digits.length < 3);
  if (!day || (rest.length === 2 && !year)) return null;
  return isoOrNull(dated(year ? Number(year) : null, months.get(letters(month)), Number(day)));
}

const isoOrNull = (iso) => (iso ? { iso } : null);

/* A temperature in °C: of a cell with its own unit, else in `unit`, "c" or "f"; null where it is none. */
function celsius(cell, unit) {
  const found = TEMPERATURE.exec(cell ?? "");
  if (!found) return null;
  const value = readNumber(found[1].replace(/[−–]/, "-"));
  if (typeof value !== "number") return null;
  const own = (found[2] ?? unit).toLowerCase();
  return Number((own === "f" ? (value - 32) / 1.8 : value).toFixed(2));
}

/* Cells of a row as [day, low, high]: the day may itself be cut by the separator. */
function threeOf(row) {
  const filled = row.filter((cell) => cell !== "");
  for (let n = Math.min(3, filled.length - 2); n > 0; n -= 1) {
    const day = filled.slice(0, n).join(" ");
    if (readDay(day)) return [day, filled[n], filled[n + 1]];
  }
  for (let n = filled.length; n > 0; n -= 1) {
    const found = IN_ONE_CELL.exec(filled.slice(0, n).join(" "));
    if (found && readDay(found[1])) return found.slice(1, 4);
  }
  return [row[0] ?? "", row[1], row[2]];
}

/* Rows of cells; where nothing but spaces separates, and a comma is a decimal sign, a line is read as it stands. */
function rowsOf(text) {
  if (/[\t;]/.test(text)) return cells(text);
  return text
    .split(/\r?\n/)
    .filter((line) => line.trim())
    .map((line) => {
      const bare = line.trim().replace(NAMED, " ");
      const found = IN_ONE_CELL.exec(bare);
      return found && readDay(found[1]) ? found.slice(1, 4) : cells(line)[0];
    });
}

const columnOf = (header, kind) =>
  header.findIndex((cell) => HEADERS[kind].some((name) => plain(cell).split(/[^a-z]+/).includes(name)));

/* Whether month or day stands first, by the days themselves: forecasts go from day to day. Else as the reader writes. */
function monthFirst(days) {
  const asRead = (isFirst) =>
    days.map((day) => day?.iso ?? (day ? dated(day.year, day.numbers[isFirst ? 0 : 1], day.numbers[isFirst ? 1 : 0]) : null));
  const [day, month] = [false, true].map(asRead);
  const whole = (read) => read.filter((iso, i) => days[i] && !iso).length === 0;
  if (whole(day) !== whole(month)) return whole(month);
  const steps = (read) => read.slice(1).filter((iso, i) => iso && read[i] && Date.parse(iso) - Date.parse(read[i]) === DAY_MS).length;
  if (steps(day) !== steps(month)) return steps(month) > steps(day);
  const parts = new Intl.DateTimeFormat(settings().locale || undefined).formatToParts();
  return parts.findIndex(({ type }) => type === "month") < parts.findIndex(({ type }) => type === "day");
}

/* "rows 2, 3 and 5 to 9" */
function rowsSaid(numbers) {
  const runs = [];
  for (const n of numbers) {
    if (runs.length && runs.at(-1)[1] === n - 1) runs.at(-1)[1] = n;
    else runs.push([n, n]);
  }
  const said = runs.flatMap(([a, b]) => (b - a > 1 ? [`${a} to ${b}`] : a === b ? [`${a}`] : [`${a}`, `${b}`]));
  const last = said.pop();
  return `${numbers.length > 1 ? "rows" : "row"} ${said.length ? `${said.join(", ")} and ${last}` : last}`;
}

/* What the server takes for air outside, °C. */
const [COLDEST_C, WARMEST_C] = [-40, 60];
/* So far from what is usual in a month, °C, and twice as far as in the other unit, is hardly meant. */
const HARDLY_C = 15;
const SHORT_DATE = { day: "numeric", month: "short" };
const MOST_NAMED = 3;

/* "28 Nov, 29 Nov" or "28 Nov to 4 Dec" */
function datesSaid(dates) {
  const said = [...dates].sort().map((iso) => dateSaid(iso, SHORT_DATE));
  return said.length > MOST_NAMED ? `${said[0]} to ${said.at(-1)} (${count(said.length)} days)` : said.join(", ");
}

const ONE_NUMBER = "one number is missing: a minimum and a maximum are needed";
const LAST_NUMBER = /[\s:]+[+−–-]?\d+(?:[.,]\d+)?\s*[°º˚]?\s*[cf]?$/i;
const isDayAndNumber = (text) => LAST_NUMBER.test(text) && Boolean(readDay(text.replace(LAST_NUMBER, "")));
const NO_DAY = "the date must be written 2027-01-31, or such as 31 Jan";
const ORDER = "the minimum must be at most the maximum";

/* Days of a pasted table: {days, faults, notes, outside}. Temperatures without a unit are in `given`, else in that of the
   settings; a fault of several rows is told once. `outside` are the days that no air is as cold or warm on. */
export function readForecast(text, given) {
  const rows = rowsOf(text.trim());
  const header = rows.length && !rows[0].some((cell) => /\d/.test(cell)) ? rows[0] : null;
  const body = rows.map((row, i) => ({ row, n: i + 1 })).slice(header ? 1 : 0);
  const [lowAt, highAt] = header ? [columnOf(header, "low"), columnOf(header, "high")] : [-1, -1];
  const named = lowAt > 0 && highAt > 0;
  const unit = header?.some((cell) => /[°º˚(\s]f\b/i.test(cell)) ? "f" : (given ?? settings().unit);
  const read = body.map(({ row, n }) => {
    const [on, first, second] = named && readDay(row[0] ?? "") ? [row[0], row[lowAt], row[highAt]] : threeOf(row);
    return { n, on, day: readDay(on), temperatures: [celsius(first, unit), celsius(second, unit)] };
  });
  const isMonth = monthFirst(read.map(({ day }) => day));
  // Some write the maximum first, throughout.
  const known = read.filter(({ temperatures }) => !temperatures.includes(null)).map(({ temperatures }) => temperatures);
  const turned = !named && known.some(([a, b]) => a > b) && known.every(([a, b]) => a >= b) && known.length > 1;
  const days = [];
  const wrong = new Map();
  const outside = [];
  for (const { n, on, day, temperatures } of read) {
    const date = day && (day.iso ?? dated(day.year, day.numbers[isMonth ? 0 : 1], day.numbers[isMonth ? 1 : 0]));
    const [low, high] = turned ? [...temperatures].reverse() : temperatures;
    const fault = !date
      ? isDayAndNumber(on)
        ? ONE_NUMBER
        : NO_DAY
      : temperatures.includes(null)
        ? `minimum and maximum must be numbers, ${unitName()}`
        : low > high
          ? ORDER
          : null;
    if (fault) wrong.set(fault, [...(wrong.get(fault) ?? []), n]);
    else if (low < COLDEST_C || high > WARMEST_C) outside.push(date);
    else days.push({ date, min_c: low, max_c: high });
  }
  return {
    days,
    faults: [
      ...[...wrong].map(([fault, numbers]) => `${rowsSaid(numbers)}: ${fault}`),
      ...(outside.length ? [`${datesSaid(outside)}: air is within ${temperatureSpan(COLDEST_C, WARMEST_C)}`] : []),
    ],
    outside,
    notes: turned ? ["The maximum stands first: read so."] : [],
  };
}

/* A question where a text read in °C is rather in °F: beyond what air can be, or far from what is usual at `place` (its
   row of the reference table, if it has one); "" where there is none. */
export function fahrenheitQuestion(text, place) {
  if (settings().unit === "f") return "";
  const [asC, asF] = ["c", "f"].map((unit) => readForecast(text, unit));
  if (!asF.days.length || asF.outside.length) return "";
  if (asC.outside.length) return "Are they in °F?";
  if (!place) return "";
  const [offC, offF] = [asC, asF].map(({ days }) => aboveUsual(days, place));
  if (Math.abs(offC) < HARDLY_C || 2 * Math.abs(offF) > Math.abs(offC)) return "";
  const far = `${count(Math.abs(offC))} °C ${offC > 0 ? "warmer" : "colder"}`;
  return `That is ${far} than is usual in ${place.city} then: are they in °F?`;
}

/* How much warmer than usual days are at a place, in the mean, °C. */
function aboveUsual(days, { tmin_c: low, tmax_c: high }) {
  const off = days.map(({ date: iso, min_c: min, max_c: max }) => {
    const month = Number(iso.slice(5, 7)) - 1;
    return (min + max - low[month] - high[month]) / 2;
  });
  return off.reduce((sum, one) => sum + one, 0) / off.length;
}
