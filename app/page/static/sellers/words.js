/* Sellers in words. */

export const KINDS = [
  [null, "not known"],
  ["grower", "a grower"],
  ["exporter", "an exporter who collects from several nurseries"],
  ["reseller", "a reseller"],
];
export const RECOURSE = [
  [null, "not known"],
  ["refund", "a refund"],
  ["replacement", "a replacement with the next order"],
  ["none", "nothing"],
];
export const YES_NO = [
  [null, "not asked yet"],
  [true, "yes"],
  [false, "no"],
];
export const kindOf = (kind) => KINDS.find(([code]) => code === kind)[1];
export const sellerAddress = (name) => `#sellers/of/${encodeURIComponent(name)}`;
export const sellerPath = (name) => `/v1/sellers/${encodeURIComponent(name)}`;
