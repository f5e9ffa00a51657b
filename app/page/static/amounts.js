/* Amounts and counts as sellers and spreadsheets write them: "US$ 14", "60,-", "14 EUR", "10 pcs". */

import { numberInput, readNumber } from "/page/fields.js";
import { settings } from "/page/settings.js";

/* What stands for one currency only; "$" and "¥" are those of many. */
const SIGNS = {
  "€": "EUR", "£": "GBP", "₹": "INR", "฿": "THB", "₫": "VND", "₱": "PHP", "zł": "PLN", "kč": "CZK",
  "us$": "USD", "a$": "AUD", "au$": "AUD", "c$": "CAD", "ca$": "CAD", "s$": "SGD", "hk$": "HKD", "nz$": "NZD", "r$": "BRL",
};
const OF_MANY = ["$", "¥", "kr", "rp", "rm", "fr"];
const PIECES = /\s*(pcs?|pieces?|plants?|units?|ea|each|stk|stück|st|szt|uds?|x|×)\.?$/i;
const OF_ONE = /\s*(\/|per\s)?\s*(each|ea|pcs?|pieces?|plants?|unit|stk|st)\.?$/i;
const PIECES_BEFORE = /^(x|×|qty:?)\s*(?=\d)/i;
/* A price without its cents: "60,-", "60.--", "60,–". */
const NO_CENTS = /(\d)[.,:]\s*[-–—]{1,2}$/;
const MARK = "[^\\d\\s.,+\\-–—−'’%()]+\\.?";
const MARKED = new RegExp(`^(${MARK})?\\s*([+−-]?\\s*[\\d.,].*?)\\s*(${MARK})?$`);

let codes = null;

/* The currency that a mark beside an amount stands for: a code, "" for a sign of many currencies, null for no currency. */
export function currencyOf(mark) {
  const small = mark.toLowerCase().replace(/\.$/, "");
  if (SIGNS[small]) return SIGNS[small];
  if (OF_MANY.includes(small)) return "";
  codes ??= new Set(Intl.supportedValuesOf?.("currency"));
  return codes.has(small.toUpperCase()) ? small.toUpperCase() : null;
}

/* The currency that somebody wrote, "gbp" or "£", by its three letters; null where it is none, or not one only. */
export function readCurrency(text) {
  const bare = text.trim();
  const found = currencyOf(bare);
  if (found) return found;
  const canTell = Boolean(Intl.supportedValuesOf);
  return !canTell && /^[A-Za-z]{3}$/.test(bare) ? bare.toUpperCase() : null;
}

/* {value, currency} of an amount: value as `readNumber` gives it, currency a code where one is written beside it. */
export function readPrice(text) {
  const bare = text.trim().replace(OF_ONE, "").replace(NO_CENTS, "$1");
  const found = MARKED.exec(bare);
  if (!found) return { value: readNumber(text), currency: null };
  const marks = [found[1], found[3]].filter(Boolean);
  const currencies = marks.map(currencyOf);
  if (currencies.includes(null)) return { value: readNumber(text), currency: null };
  const value = readNumber(found[2].replace("−", "-").replace(NO_CENTS, "$1"));
  return { value: typeof value === "string" ? text.trim() : value, currency: currencies.find(Boolean) ?? null };
}

/* The amount; as it was written where that is in another currency than the form's own, since nothing is converted. */
export function readAmount(text, own = settings().currency) {
  const { value, currency } = readPrice(text);
  return currency && currency !== own ? text.trim() : value;
}

/* What to say of an amount that is not taken, being in another currency; null of any other. */
export function foreignWords(value, own = settings().currency) {
  const code = typeof value === "string" ? readPrice(value).currency : null;
  if (!code || code === own) return null;
  return `is in ${code}, the form in ${own}: a currency is only a label here, so convert it first`;
}

/* Inputs of the form of an amount and of a number of things. `foreignFaults` finds what such an input does not take. */
export const amountInput = (value, change, attributes = {}) =>
  numberInput(value, change, { read: readAmount, ...attributes, "data-amount": "" });
export const countInput = (value, change, attributes = {}) => numberInput(value, change, { read: readCount, ...attributes });

/* Amounts in another currency in a form, as [{pointer, message}]. */
export const foreignFaults = (form) =>
  [...form.querySelectorAll("[data-amount][data-pointer]")]
    .map(({ value, dataset: { pointer } }) => ({ pointer, message: foreignWords(value) }))
    .filter(({ message }) => message);

/* "10", "10 pcs", "10 x", "x10" -> 10; an amount in a currency is no count, and stays as it was written. */
export function readCount(text) {
  if (/\p{Sc}/u.test(text)) return text.trim();
  const bare = text.trim().replace(PIECES_BEFORE, "");
  const value = readNumber(bare.replace(PIECES, ""));
  return typeof value === "string" || (value === null && text.trim()) ? text.trim() : value;
}
