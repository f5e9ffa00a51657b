/* Look back: the track record, genera and sellers, the ledger as a file, learning from it. */

import { get } from "/page/api.js";
import { el } from "/page/dom.js";
import { doubtList } from "/page/doubtful.js";
import { generaFigure, otherEffects, sellers } from "/page/look_back/effects.js";
import { ledgerFile } from "/page/look_back/ledger_file.js";
import { refitPart, versions } from "/page/look_back/refit.js";
import { trackRecord } from "/page/look_back/track_record.js";
import { failure } from "/page/notices.js";
import { temperature } from "/page/settings.js";

export const title = "Look back";

export function show(root, _parts, signal) {
  root.append(el("h1", {}, "Look back"));
  const model = () => get("/v1/model", { signal });

  /* A section that loads by itself, so that one that fails leaves the others. */
  function section(id, heading, load) {
    const place = el("div", {}, el("p", {}, "Loading …"));
    const fill = async () => {
      try {
        const parts = await load();
        place.replaceChildren(...parts.filter(Boolean));
      } catch (fault) {
        if (!signal.aborted) place.replaceChildren(failure(fault, fill));
      }
    };
    root.append(el("section", { "aria-labelledby": id }, el("h2", { id }, heading), place));
    fill();
    return fill;
  }

  section("track-record", "Were the forecasts right?", () => trackRecord(signal));
  const redrawGenera = section("genera", "Which plants keep", async () => {
    const now = await model();
    return [
      el(
        "p",
        {},
        `How long each keeps in a box at ${temperature(20)} against an average aroid packed alike. Left of 1 it keeps less long.`,
      ),
      generaFigure(now),
      otherEffects(now),
    ];
  });
  const redrawSellers = section("sellers", "Whose plants keep", async () => [
    ...(await sellers(signal)),
    el("p", {}, el("a", { href: "#sellers" }, "Sellers: usual packing, answers, open questions")),
  ]);
  const redrawDoubts = section("records", "Records that look wrong", async () => [
    doubtList((await model()).doubtful, signal, () => redrawDoubts()),
  ]);
  let redrawVersions = null;
  const changed = () => Promise.all([redrawGenera(), redrawSellers(), redrawVersions(), redrawDoubts()]);
  section("refit", "Learn from the boxes", async () => [refitPart(await model(), signal, changed)]);
  redrawVersions = section("versions", "Versions of the model", () => versions(signal, changed));
  section("ledger", "The ledger as a file", async () =>
    ledgerFile(signal, () => Promise.all([redrawSellers(), redrawDoubts()])),
  );
}
