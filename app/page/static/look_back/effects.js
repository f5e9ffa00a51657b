/* Genera and sellers, each as a time ratio with its interval and what it rests on. */

import { get } from "/page/api.js";
import { ENOUGH_BOXES, ratioFigure, ratioWords, rowsOf } from "/page/look_back/time_ratios.js";
import { el } from "/page/dom.js";
import { many } from "/page/plural.js";
import { count, date, percent } from "/page/settings.js";

const MOST = 40;

const flat = ({ label: name, time_ratio, evidence, beyond_table: beyond }) => ({ name, time_ratio, ...evidence, beyond });

/* Genera of the active model: those with boxes, then all of the tables. */
export function generaFigure(model) {
  const all = model.effects.filter(({ kind }) => kind === "genus").map(flat);
  const own = all.filter(({ boxes }) => boxes);
  const place = el("div");
  const draw = (effects) =>
    place.replaceChildren(
      ratioFigure({
        rows: rowsOf(effects),
        what: "Genus",
        label: `Time ratios of ${many(effects.length, "genus", "genera")} against an average aroid, 80 % intervals`,
        more: effects.some(({ beyond, boxes }) => isOverruled(beyond, boxes))
          ? [{ head: "Against the table", of: tableWords(new Map(effects.map((effect) => [effect.name, effect]))) }]
          : [],
      }),
    );
  if (!own.length) {
    place.append(el("p", {}, "No own box yet: these would be the rules of thumb and tables alone."));
  } else draw(own);
  const show = el(
    "button",
    {
      type: "button",
      on: {
        click: () => {
          draw(all);
          show.remove();
        },
      },
    },
    `Show all ${count(all.length)} genera of the tables`,
  );
  return el("div", {}, place, own.length < all.length ? show : null);
}

/* Whether own boxes overrule the row of the tables, and are enough to say so. */
const isOverruled = (beyond, boxes) => Boolean(beyond) && boxes >= ENOUGH_BOXES;
const tableWords = (byName) => (name) => {
  const { beyond, boxes } = byName.get(name);
  return isOverruled(beyond, boxes) ? `${ratioWords(beyond.p50)}× what it says, overruled` : "as it says";
};

/* The other effects with boxes behind them: packing, service, cultivar and so on, in words. */
export function otherEffects(model) {
  const others = model.effects.filter(
    ({ kind, evidence }) => !["genus", "seller"].includes(kind) && evidence.boxes >= ENOUGH_BOXES,
  );
  if (!others.length) return null;
  return el(
    "details",
    {},
    el("summary", {}, "Packing, services and cultivars"),
    el(
      "ul",
      {},
      others.map(({ text }) => el("li", {}, `${text}.`)),
    ),
  );
}

export async function sellers(signal) {
  const { items } = await get("/v1/sellers", { signal });
  if (!items.length) return [el("p", {}, "No seller is in the ledger yet.")];
  const byName = new Map(items.map((item) => [item.name, item]));
  const shown = [...items].sort((one, other) => other.boxes - one.boxes).slice(0, MOST);
  const of = (text) => (name) => text(byName.get(name));
  return [
    ratioFigure({
      rows: rowsOf(shown),
      what: "Seller",
      label: `Time ratios of ${many(shown.length, "seller")} against an average seller of its kind, 80 % intervals`,
      more: [
        { head: "Boxes on record", of: of(({ recorded_boxes: boxes }) => count(boxes)) },
        {
          head: "Last box",
          of: of(({ last_ship_date: last }) => (last ? date(last, { month: "short", year: "numeric" }) : "–")),
        },
        { head: "Late", of: of(({ late }) => share(late)) },
        { head: "Claims honoured", of: of(({ claims }) => share(claims.honoured)) },
      ],
    }),
    shown.length < items.length
      ? el("p", { class: "hint" }, `The ${count(MOST)} with the most boxes of ${count(items.length)}.`)
      : null,
    el(
      "details",
      {},
      el("summary", {}, "Better or worse with time"),
      el(
        "ul",
        {},
        shown.map(({ name, trend }) => el("li", {}, el("strong", {}, name), `: ${trendWords(trend)}`)),
      ),
    ),
  ].filter(Boolean);
}

/* A share beside few boxes would look surer than it is: only what was counted is said then. */
function share({ counted, of, mean }) {
  if (!of) return "–";
  const told = `${count(counted)} of ${count(of)}`;
  return of < ENOUGH_BOXES ? `${told}, too few to say` : `about ${percent(mean)} to be expected; ${told} were`;
}

const trendWords = ({ verdict, text }) =>
  verdict === "too_few_boxes" ? "too few boxes to tell whether it changes." : text;
