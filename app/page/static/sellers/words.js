/* Sellers in words. */

const KIND_WORDS = [
  ["grower", "a grower"],
  ["exporter", "an exporter who collects from several nurseries"],
  ["reseller", "a reseller"],
];
const RECOURSE_WORDS = [
  ["refund", "a refund"],
  ["replacement", "a replacement with the next order"],
  ["none", "nothing: it gives none"],
];

/* The choices, the first being that none was made, in the words of the place. */
export const kinds = (unsaid) => [[null, unsaid], ...KIND_WORDS];
export const recourses = (unsaid) => [[null, unsaid], ...RECOURSE_WORDS];

export const KINDS = kinds("not known");
export const RECOURSE = recourses("not known");
export const YES_NO = [
  [null, "not asked yet"],
  [true, "yes"],
  [false, "no"],
];
export const kindOf = (kind) => KINDS.find(([code]) => code === kind)[1];
export const sellerAddress = (name) => `#sellers/of/${encodeURIComponent(name)}`;
export const sellerPath = (name) => `/v1/sellers/${encodeURIComponent(name)}`;
