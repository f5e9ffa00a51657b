/* What a refit changed: effects before and after. */

import { count, decimal } from "/page/settings.js";
import { boxesOf, many } from "/page/plural.js";
import { ratioWords, restsOn } from "/page/look_back/time_ratios.js";

const KIND_WORDS = {
  genus: "",
  seller: "seller ",
  cultivar: "",
  group: "group ",
  container: "box: ",
  roots: "roots: ",
  service: "service ",
  seller_kind: "seller kind ",
};
const SMALL = 0.02;
const MOST = 25;

const keyOf = ({ kind, name }) => `${kind}/${name}`;

/* What of a model is kept to be compared: its boxes and effects. */
export const snapshot = ({ boxes, plants, effects }) => ({
  boxes,
  plants,
  effects: effects.map(({ kind, name, label, time_ratio: ratio, evidence }) => ({
    kind,
    name,
    label,
    ratio,
    boxes: evidence.boxes,
    plants: evidence.plants,
  })),
});

/* Effects that moved: those with boxes behind them, before or after, then the largest moves first. */
export function moved(before, after) {
  const old = new Map(before.effects.map((effect) => [keyOf(effect), effect]));
  const seen = ({ effect, was }) => effect.boxes > 0 || (was?.boxes ?? 0) > 0;
  return after.effects
    .map((effect) => ({ effect, was: old.get(keyOf(effect)) ?? null }))
    .filter((pair) => size(pair) > SMALL || pair.effect.boxes !== (pair.was?.boxes ?? 0))
    .sort((one, other) => seen(other) - seen(one) || size(other) - size(one))
    .map(({ effect, was }) => ({
      name: `${KIND_WORDS[effect.kind] ?? ""}${effect.label}`,
      before: was ? spanWords(was.ratio) : "not in it",
      after: spanWords(effect.ratio),
      rests: restsOn(effect.boxes, effect.plants),
    }));
}

const size = ({ effect, was }) => Math.abs(Math.log(effect.ratio.p50 / (was?.ratio.p50 ?? 1)));
const spanWords = ({ p10, p50, p90 }) => `${ratioWords(p50)}× (${ratioWords(p10)}–${ratioWords(p90)})`;

/* The table of changes, for tableOf. */
export function changeTable(rows) {
  return {
    head: ["What", "Before", "After", "Rests on"],
    rows: rows.slice(0, MOST).map(({ name, before, after, rests }) => [name, before, after, rests]),
  };
}

export const leftOut = (rows) =>
  rows.length > MOST ? `${count(rows.length - MOST)} more moved, most of them genera without a box of yours.` : "";

export const boxesWords = ({ boxes, plants }) =>
  boxes ? `${boxesOf(boxes)}, ${many(plants, "plant")}` : "rules of thumb only";

export const secondsWords = (ms) => `${decimal(ms / 1000, 0)} s`;
