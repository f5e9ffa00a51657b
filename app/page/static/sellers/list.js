/* All sellers, those with open questions said so. */

import { get } from "/page/api.js";
import { el } from "/page/dom.js";
import { boxesOf, many } from "/page/plural.js";
import { date } from "/page/settings.js";
import { kindOf, sellerAddress } from "/page/sellers/words.js";

export async function show(root, signal) {
  root.append(
    el("p", {}, el("a", { href: "#look-back" }, "Look back")),
    el("h1", {}, "Sellers"),
    el("p", {}, "What is on record of a seller fills what a batch leaves out: how it packs, and what it gives for dead plants."),
    el("div", { class: "actions" }, el("a", { class: "button main", href: "#sellers/new" }, "Record a seller")),
  );
  const { items } = await get("/v1/sellers", { signal });
  root.append(
    items.length
      ? el("div", { class: "boxes" }, items.map(card))
      : el("p", { class: "notice" }, "No seller is on record yet. One is added by itself with its first box, or here before it."),
  );
}

function card({ name, kind, recorded_boxes: boxes, last_ship_date: last, unknown }) {
  return el(
    "article",
    { class: "box" },
    el("h2", {}, el("a", { href: sellerAddress(name) }, name)),
    el("p", {}, kind ? kindOf(kind) : "kind not known", `, ${boxes ? `${boxesOf(boxes)} here, the last left ${date(last)}` : "no box here yet"}.`),
    unknown.length ? el("p", { class: "flag" }, `${many(unknown.length, "question")} open.`) : el("p", {}, "All questions answered."),
  );
}
