/* Compare: courier or air cargo for this batch? */

import { asking } from "/page/asking.js";
import { changeNotice } from "/page/boxes/change_notice.js";
import { draftBefore, emptyDraft, inventedDraft, takeDraft } from "/page/batch.js";
import { drawComparison } from "/page/comparison.js";
import { el } from "/page/dom.js";
import { batchFields } from "/page/form_batch.js";
import { genera } from "/page/lists.js";
import { batchCall } from "/page/live.js";
import { isFirstVisit, showAgain } from "/page/settings.js";

export const title = "Compare";

export async function show(root, _parts, signal) {
  const known = await genera();
  await asking({
    root,
    signal,
    heading: title,
    sentence: [
      "Which way should this batch travel? Fill in what you know; the answer follows every change.",
      isFirstVisit() ? [" New here? ", el("a", { href: "#start" }, "First steps")] : null,
    ],
    ask: () => batchCall("/v1/compare", { rules_beside: true }),
    draw: (drawn) => drawComparison({ ...drawn, known }),
    fields,
  });
}

function start(other) {
  takeDraft(other);
  showAgain();
}

async function fields(changed) {
  return [
    changeNotice() ?? "",
    el(
      "div",
      { class: "actions" },
      el("button", { type: "button", on: { click: () => start(inventedDraft()) } }, "Try an invented batch"),
      el("button", { type: "button", on: { click: () => start(emptyDraft()) } }, "Start empty"),
      draftBefore()
        ? el("button", { type: "button", on: { click: () => start(draftBefore()) } }, "Bring back the one before")
        : null,
    ),
    ...(await batchFields(changed)),
  ];
}
