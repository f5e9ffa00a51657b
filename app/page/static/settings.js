/* What the reader prefers, kept in the browser, and numbers, money, dates and temperatures said that way. */

const KEY = "transit.settings";
const DEFAULTS = { unit: "c", currency: "EUR", locale: "", home: null };
const ISO_DATE = /\b(\d{4}-\d{2}-\d{2})\b/g;
const CELSIUS = /([+-]?\d+(?:\.\d+)?)(?:( to |–)([+-]?\d+(?:\.\d+)?))? °C/g;
const MONEY = /(-?\d{1,3}(?:,\d{3})*(\.\d+)?) ([A-Z]{3})\b/g;
const DAY_MS = 86_400_000;

/* Whether there is room beside each other for what a phone folds. */
export const isWide = () => matchMedia("(min-width: 64rem)").matches;

let current = read();

function read() {
  try {
    return { ...DEFAULTS, ...JSON.parse(localStorage.getItem(KEY) ?? "{}") };
  } catch {
    return { ...DEFAULTS };
  }
}

export const settings = () => current;

/* Whether nothing was ever kept here: a first visit. */
export const isFirstVisit = () => !Object.keys(localStorage).some((key) => key.startsWith("transit."));

/* Keep a change. */
export function keepSettings(change) {
  current = { ...current, ...change };
  localStorage.setItem(KEY, JSON.stringify(current));
}

/* Keep a change and tell the page, which shows its view anew. */
export function changeSettings(change) {
  keepSettings(change);
  showAgain();
}

/* Have the page draw its view anew. */
export function showAgain() {
  document.dispatchEvent(new CustomEvent("settings-changed"));
}

const locale = () => current.locale || undefined;
const number = (value, options) => new Intl.NumberFormat(locale(), options).format(value);

export const decimalSign = () =>
  new Intl.NumberFormat(locale()).formatToParts(1.5).find((part) => part.type === "decimal").value;

export const count = (value) => number(value, { maximumFractionDigits: 0 });
export const decimal = (value, digits = 1) =>
  number(value, { minimumFractionDigits: digits, maximumFractionDigits: digits });
export const percent = (share) => number(share, { style: "percent", maximumFractionDigits: 0 });

/* Money in its own currency; whole units from 100 on, or always where `whole`. */
export function money(amount, currency = current.currency, { whole = Math.abs(amount) >= 100 } = {}) {
  const digits = whole ? { maximumFractionDigits: 0, minimumFractionDigits: 0 } : {};
  try {
    return number(amount, { style: "currency", currency, ...digits });
  } catch {
    return `${decimal(amount, 2)} ${currency}`;
  }
}

export const toShown = (celsius) => (current.unit === "f" ? celsius * 1.8 + 32 : celsius);
export const fromShown = (shown) => (current.unit === "f" ? (shown - 32) / 1.8 : shown);
export const unitName = () => (current.unit === "f" ? "°F" : "°C");
export const temperature = (celsius, digits = 0) => `${decimal(toShown(celsius), digits)} ${unitName()}`;
export const temperatureSpan = (low, high) =>
  `${decimal(toShown(low), 0)} to ${decimal(toShown(high), 0)} ${unitName()}`;

const asDate = (iso) => new Date(`${iso}T12:00:00Z`);

/* A calendar date "2027-01-11", as people write it. */
export const date = (iso, options = { weekday: "short", day: "numeric", month: "short", year: "numeric" }) =>
  new Intl.DateTimeFormat(locale(), { timeZone: "UTC", ...options }).format(asDate(iso));

/* A moment with its offset, in the reader's own time. */
export const moment = (iso, options = { dateStyle: "medium", timeStyle: "short" }) =>
  new Intl.DateTimeFormat(locale(), options).format(new Date(iso));

export const days = (value, digits = 1) => `${decimal(value, digits)} days`;

/* A calendar date so many days after another; today unless given, by this device's clock. */
export function addDays(n, iso = today()) {
  return new Date(asDate(iso).getTime() + n * DAY_MS).toISOString().slice(0, 10);
}

export function today() {
  const now = new Date();
  return new Date(now.getTime() - now.getTimezoneOffset() * 60_000).toISOString().slice(0, 10);
}

/* A sentence of the server with its dates, temperatures and money as the reader wants them; `dates` as in `date`. */
export function said(text, dates) {
  const dated = text
    .replace(ISO_DATE, (iso) => date(iso, dates))
    .replace(MONEY, (as, amount, cents, code) =>
      code === current.currency ? money(Number(amount.replaceAll(",", "")), code, { whole: !cents }) : as,
    );
  if (current.unit === "c") return dated;
  const shown = (celsius) => decimal(toShown(Number(celsius)), 0);
  return dated.replace(CELSIUS, (_, low, to, high) => `${shown(low)}${to ? to + shown(high) : ""} °F`);
}
