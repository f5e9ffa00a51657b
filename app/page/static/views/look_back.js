/* Look back: what to do with whom, what the forecasts got right and wrong, then the plots and what the
   answers rest on, then the statistics folded; learning from the boxes, and the ledger as a file. */

import { get } from "/page/api.js";
import { el } from "/page/dom.js";
import { doubtList } from "/page/doubtful.js";
import { criticismPart } from "/page/look_back/criticism.js";
import { generaFigure, otherEffects, sellers } from "/page/look_back/effects.js";
import { heldPart } from "/page/look_back/held.js";
import { ledgerFile } from "/page/look_back/ledger_file.js";
import { lessons } from "/page/look_back/lessons.js";
import { refitPart, versions } from "/page/look_back/refit.js";
import { recordPlot, recordStatistics, recordWords } from "/page/look_back/track_record.js";
import { failure } from "/page/notices.js";
import { temperature } from "/page/settings.js";

export const title = "Look back";

export function show(root, _parts, signal) {
  root.append(el("h1", {}, "Look back"));
  const model = () => get("/v1/model", { signal });
  let reading = null; // the track record, read once for its three parts
  const record = () => {
    reading ??= get("/v1/track-record", { signal }).catch((fault) => {
      reading = null; // asked again by whoever tries again
      throw fault;
    });
    return reading;
  };

  /* A part that loads by itself, so that one that fails leaves the others; returns how to fill it again. */
  function part(place, load) {
    place.append(el("p", {}, "Loading …"));
    const fill = async () => {
      try {
        const parts = await load();
        place.replaceChildren(...parts.filter(Boolean));
      } catch (fault) {
        if (!signal.aborted) place.replaceChildren(failure(fault, fill));
      }
    };
    fill();
    return fill;
  }

  function section(id, heading, load, around = root) {
    const place = el("div");
    around.append(el("section", { "aria-labelledby": id }, el("h2", { id }, heading), place));
    return part(place, load);
  }

  /* Two sections beside each other where there is room. */
  function pair() {
    const place = el("div", { class: "pair" });
    root.append(place);
    return place;
  }

  function folded(id, heading, load) {
    const place = el("div");
    root.append(
      el(
        "details",
        { class: "folded", "aria-labelledby": id },
        el("summary", { id }, heading),
        place,
      ),
    );
    return part(place, load);
  }

  const words = pair();
  const redrawLessons = section("lessons", "What to do", () => lessons(signal), words);
  section("track-record", "Were the forecasts right?", async () => recordWords(await record()), words);
  const redrawDoubts = section("records", "Records that look wrong", async () => {
    const { doubtful, transit_left_out: leftOut } = await model();
    return [doubtList(doubtful, signal, () => redrawDoubts()), leftOut ? el("p", {}, leftOut) : null];
  });
  const ratios = pair();
  const redrawGenera = section("genera", "Which plants keep", async () => generaPart(await model()), ratios);
  const ofSellers = async () => [
    ...(await sellers(signal)),
    el("p", {}, el("a", { href: "#sellers" }, "Sellers: usual packing, answers, open questions")),
  ];
  const redrawSellers = section("sellers", "Whose plants keep", ofSellers, ratios);
  const redrawCriticism = section("criticism", "What the answers rest on", async () => criticismPart(await model()));
  const last = pair();
  section("given-and-found", "Chances given, and what came", async () => recordPlot(await record()), last);
  let redrawVersions = null;
  const changed = () =>
    Promise.all([
      redrawLessons(),
      redrawGenera(),
      redrawSellers(),
      redrawCriticism(),
      redrawTimes(),
      redrawVersions(),
      redrawDoubts(),
      redrawHeld(),
    ]);
  const learning = el("div");
  last.append(learning);
  const back = el("div");
  learning.append(back);
  const redrawHeld = part(back, async () => [heldPart(await model(), signal, changed)]);
  section("refit", "Learn from the boxes", async () => [refitPart(await model(), signal, changed)], learning);
  section(
    "ledger",
    "The ledger as a file",
    async () => ledgerFile(signal, () => Promise.all([redrawLessons(), redrawSellers(), redrawDoubts()])),
    learning,
  );
  const redrawTimes = folded("times", "Days on the way, as learned", async () => timesPart(await model()));
  folded("statistics", "Statistics of the forecasts", async () => recordStatistics(await record()));
  redrawVersions = folded("versions", "Versions of the model", () => versions(signal, changed));
}

/* What own boxes made of the table's times in transit, a sentence a service and lane. */
const timesPart = ({ transit }) => [
  transit.length
    ? el("ul", {}, ...transit.map(({ text }) => el("li", {}, `${text}.`)))
    : el("p", {}, "No own box has arrived yet, or none was learned from: days are those of the tables."),
];

const generaPart = (model) => [
  el(
    "p",
    {},
    `How long each keeps in a box at ${temperature(20)} against an average aroid packed alike. Left of 1 it keeps less long.`,
  ),
  generaFigure(model),
  otherEffects(model),
];
