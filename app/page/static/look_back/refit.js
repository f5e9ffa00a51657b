/* Learning from the boxes: the refit, its progress, what it changed; versions of the model and which one answers. */

import { call, get, NetworkDown } from "/page/api.js";
import { boxesWords, changeTable, leftOut, moved, secondsWords, snapshot } from "/page/look_back/changes.js";
import { announce, el } from "/page/dom.js";
import { failure } from "/page/notices.js";
import { tableOf } from "/page/plot.js";
import { stacked } from "/page/stacked.js";
import { isWide, moment } from "/page/settings.js";

const KEY = "transit.refit";
const POLL_MS = 700;
const FINISHED = new Set(["activated", "kept", "failed"]);
const OUTCOMES = {
  activated: "The new version answers from now on.",
  kept: "The new version is stored but does not answer.",
  failed: "The refit failed; the version before answers as it did.",
};

/* What runs, or ran last, in this browser: {id, before}, with the snapshot of the model before. */
function running() {
  try {
    return JSON.parse(sessionStorage.getItem(KEY) ?? "null");
  } catch {
    return null;
  }
}

/* `model` is the active one; `changed()` hears that another answers. */
export function refitPart(model, signal, changed) {
  const place = el("div");
  const button = el("button", { type: "button", class: "main", on: { click: start } }, "Learn from the boxes");

  async function start() {
    button.disabled = true;
    try {
      const { data } = await call("POST", "/v1/model/refit", { signal });
      const now = await get("/v1/model", { signal });
      sessionStorage.setItem(KEY, JSON.stringify({ id: data.id, before: snapshot(now) }));
      announce("Learning from the boxes has begun.");
      await follow();
    } catch (fault) {
      if (signal.aborted) return;
      button.disabled = false;
      place.replaceChildren(failure(fault, start));
    }
  }

  /* Ask how it goes until it is done. */
  async function follow() {
    const { id, before } = running();
    button.disabled = true;
    const told = el("p", {}, "Waiting for its turn …");
    place.replaceChildren(el("progress", { "aria-label": "Learning from the boxes" }), told);
    for (;;) {
      let refit = null;
      try {
        refit = await get(`/v1/model/refits/${encodeURIComponent(id)}`, { signal });
      } catch (fault) {
        if (!(fault instanceof NetworkDown)) throw fault;
        told.textContent = "No connection; it goes on on the server.";
      }
      if (refit && FINISHED.has(refit.state)) {
        await finish(refit, before);
        return;
      }
      if (refit?.started_at)
        told.textContent = `At it for ${secondsWords(Date.now() - new Date(refit.started_at))}. The page may be left.`;
      await new Promise((resolve) => {
        setTimeout(resolve, POLL_MS);
      });
      signal.throwIfAborted();
    }
  }

  async function finish(refit, before) {
    sessionStorage.removeItem(KEY);
    const after = snapshot(await get("/v1/model", { signal }));
    button.disabled = false;
    announce(OUTCOMES[refit.state]);
    if (refit.state === "activated") await changed();
    place.replaceChildren(outcome(refit, before, after));
  }

  const resume = () =>
    follow().catch((fault) => {
      if (signal.aborted) return;
      button.disabled = false;
      sessionStorage.removeItem(KEY);
      place.replaceChildren(failure(fault));
    });
  if (running()) resume();
  return el(
    "div",
    {},
    el(
      "p",
      {},
      "The model is fitted anew to all arrived boxes. The version before answers until the new one is stored, and if it forecasts boxes that it was not shown worse, it is kept but not used.",
    ),
    el("div", { class: "actions" }, button),
    place,
  );
}

function outcome(refit, before, after) {
  const rows = refit.state === "activated" ? moved(before, after) : [];
  return el(
    "div",
    { class: refit.state === "failed" ? "notice bad" : "notice" },
    el("p", {}, el("strong", {}, OUTCOMES[refit.state])),
    refit.reason ? el("details", {}, el("summary", {}, "Why"), el("p", {}, refit.reason)) : null,
    refit.state === "activated"
      ? el("p", {}, `Before: ${boxesWords(before)}. Now: ${boxesWords(after)}.`)
      : null,
    rows.length
      ? el(
          "details",
          { class: "numbers", open: isWide() },
          el("summary", {}, "What changed, as a table"),
          el(
            "div",
            { class: "scroll", tabindex: "0", role: "region", "aria-label": "Table: what changed" },
            tableOf({ caption: "How long plants keep against an average, before and after", ...changeTable(rows) }),
          ),
        )
      : refit.state === "activated"
        ? el("p", {}, "No time ratio moved by more than 2 in 100.")
        : null,
    leftOut(rows) ? el("p", { class: "hint" }, leftOut(rows)) : null,
  );
}

/* All versions, each with a button that makes it answer; `changed()` hears that another does. */
export async function versions(signal, changed) {
  const answer = await get("/v1/model/versions", { signal });
  const place = el("div");

  async function activate(item) {
    try {
      await call("POST", `/v1/model/versions/${encodeURIComponent(item.version)}/activate`, { signal });
      announce("That version answers now.");
      await changed();
    } catch (fault) {
      if (!signal.aborted) place.replaceChildren(failure(fault));
    }
  }

  const action = (item) => {
    if (item.active) return el("strong", {}, "answers now");
    if (!item.usable) return "cannot be used: made with other tables, learn anew";
    return el(
      "button",
      {
        type: "button",
        class: "small",
        "aria-label": `Let ${item.version} answer`,
        on: { click: () => activate(item) },
      },
      "Let it answer",
    );
  };
  return [
    el(
      "div",
      { class: "scroll", tabindex: "0", role: "region", "aria-label": "Table: versions of the model" },
      stacked(tableOf({
        head: ["Version", "Made", "From", "Use"],
        rows: answer.items.map((item) => [
          item.version,
          item.fitted ? moment(item.fitted) : "not fitted",
          boxesWords(item),
          action(item),
        ]),
      })),
    ),
    place,
  ];
}
