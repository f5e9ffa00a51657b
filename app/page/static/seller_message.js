/* Lines of plants out of a seller's message: "1. Hoya kerrii 10 pcs @ US$ 14", "10 x Hoya kerrii 14 USD". */

import { currencyOf, readCount, readPrice } from "/page/amounts.js";

export const TOTAL = /^(grand|sub)?[\s-]*(total|sum|summe|gesamt|totaal|totale|somme|suma|summa)e?s?\b[^a-z]*(plants|pcs|pieces|value|amount|price|cost|qty)?[:.\s]*$/i;
const TOTAL_OF = /^(grand|sub)?[\s-]*(total|sum|in all|altogether)\b/i;
/* What a seller charges beside the plants: the fields of the costs are for it. */
const CHARGE =
  /^(the\s+)?(air|sea|express|est(imated)?\.?|international)?\s*(freight|shipping|shipment|postage|delivery|handling|packing|packaging|phyto\w*|certificate|permit|cites|insurance|tax|vat|duty|duties|customs|discount|deposit|(bank|transfer|payment)?\s*fees?|versand\w*|porto|fracht\w*|verzend\w*|vracht\w*|envío|envio|frais|livraison)\b/i;
const GREETING = /\b(hi|hello|hey|dear|thanks?|thx|regards|best|please|pls|kindly|you|your|we|i|my|our|order|minimum|min|offer|list|sir|madam|friend|greetings|available|stock)\b/i;
const LIST_NUMBER = /^\s*(?:\(?\d{1,3}[.)]\)?(?!\d)|[-*•–·#]+|(?:no|nr|#)\.?\s*\d{1,3}[.:)]?)\s*(?=\D)/i;
const SIZE =
  /(?:\b(?:pot|size)\s*)?\d+(?:[.,]\d+)?(?:\s*[-–x×]\s*\d+(?:[.,]\d+)?)?\s*(?:cm|mm|inch(?:es)?|leaf|leaves|lvs|nodes?|kg|gr?|years?|yrs?|days?|weeks?|%)(?![\p{L}])/giu;
const COUNTED = /(?<![\d.,$€£])(?:\bqty:?\s*|(?<!\p{L})[x×]\s*)(\d[\d.,]*)(?![\d.,])|(\d[\d.,]*)\s*(?:(?:pcs?|pieces?|plants?|units?|stk|stück|szt|uds?)\b\.?|[x×](?!\p{L}))/iu;
const AMOUNT =
  /(\p{L}{0,3}[$€£₹฿₫₱¥]|\b\p{L}{2,3}\.?)?\s*(\d(?:[\d.,]*\d)?(?:[.,]\s*[-–—]{1,2})?)(?:\s*(\p{L}{0,3}[$€£₹฿₫₱¥]|\p{L}{2,3}\b)(?!\s*\d))?/gu;
const BARE = /(?<![\p{L}\d])\d[\d.,]*(?![\p{L}\d])/gu;
const USUAL = /^(usd|eur|gbp|idr|thb|rp|rm|kr|zł|kč)$/;
const BY_THE_WAY = /\b(each|ea|per|at|of|price|pcs?|only)\b\.?\/?|\//gi;
const LONGEST_NAME = 6; // words

/* What a text is beside a plant: "total", "charge", or null. */
export function besidePlants(text) {
  const bare = text.trim().replace(LIST_NUMBER, "");
  if (TOTAL.test(bare)) return "total";
  return CHARGE.test(bare) ? "charge" : null;
}

/* An amount with its currency: {text, at, value, currency}; null where no amount has one. */
function amountIn(text) {
  for (const found of text.matchAll(AMOUNT)) {
    const marks = [found[1], found[3]].map((mark) => (mark && isMark(mark) ? mark : ""));
    if (!marks.some(Boolean)) continue;
    const { value, currency } = readPrice(`${marks[0]}${found[2]}${marks[1]}`);
    if (typeof value !== "number") continue;
    const before = found[1] && !marks[0] ? found[1].length : 0;
    const after = found[3] && !marks[1] ? found[3].length : 0;
    return { at: found.index + before, end: found.index + found[0].length - after, value, currency };
  }
  return null;
}

/* Words of three small letters are words rather than codes, unless of the usual currencies. */
const isMark = (mark) => currencyOf(mark) !== null && (!/^\p{Ll}+$/u.test(mark) || USUAL.test(mark));

/* A line of a message: {line, currency}, or {left: "total", "charge" or "words"} where it is of no plant.

   `isGenus(word)` says whether a word is that of a genus, or nearly. Of another name both count and price are needed. */
export function readWritten(text, isGenus = () => false) {
  const beside = besidePlants(text);
  if (beside) return { left: beside };
  let rest = text.trim().replace(LIST_NUMBER, "").replace(/\s=\s.*$/, "").replace(SIZE, " ");
  const cut = (at, end) => {
    rest = `${rest.slice(0, at)} | ${rest.slice(end)}`;
  };
  const amount = amountIn(rest);
  if (amount) cut(amount.at, amount.end);
  for (let other = amountIn(rest); other; other = amountIn(rest)) cut(other.at, other.end);
  const counted = COUNTED.exec(rest);
  if (counted) cut(counted.index, counted.index + counted[0].length);
  const named = rest.search(/\p{L}{3}/u);
  let bare = [...rest.matchAll(BARE)].map((found) => ({ text: found[0].replace(/[.,]$/, ""), at: found.index }));
  rest = rest.replace(BARE, " | ");
  const wanted = (counted ? 0 : 1) + (amount ? 0 : 1);
  if (bare.length > wanted && bare[0].at < named) bare = bare.slice(1); // the number of the line in a list
  const count = counted ? readCount(counted[1] ?? counted[2]) : bare.length ? readCount(bare.shift().text) : null;
  const cost = amount ? amount.value : bare.length ? readPrice(bare.shift().text).value : null;
  const sale = !amount && bare.length ? readPrice(bare.shift().text).value : null;
  const parts = rest.split(/\s*[|,;:@=]\s*|\s+[-–—]\s+|\t/).map((part) => part.trim());
  const words = parts.flatMap((part) => part.split(/\s+/)).filter((word) => /\p{L}/u.test(word));
  const at = words.findIndex((word) => isGenus(word.replace(/[^\p{L}]/gu, "")));
  if (at < 0 && TOTAL_OF.test(words.join(" "))) return { left: "total" };
  if (at < 0 ? count === null || cost === null : count === null && cost === null) return { left: "words" };
  const name = parts
    .map((part) => part.replace(BY_THE_WAY, " ").trim())
    .find((part) => /\p{L}{3}/u.test(part) && (at < 0 || part.includes(words[at])));
  if (!name) return { left: "words" };
  const own = at < 0 ? name.split(/\s+/) : name.slice(name.indexOf(words[at])).split(/\s+/);
  if (at < 0 && (own.length > LONGEST_NAME || GREETING.test(name))) return { left: "words" };
  return {
    line: { genus: own.join(" "), cultivar: null, quantity: count, unit_cost: cost, sale_value: sale },
    currency: amount?.currency ?? null,
  };
}
