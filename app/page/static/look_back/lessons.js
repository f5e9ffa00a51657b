/* What own boxes teach: what to do with whom, in the server's sentences. */

import { get } from "/page/api.js";
import { address } from "/page/boxes/words.js";
import { el } from "/page/dom.js";
import { count, said } from "/page/settings.js";

const SHOWN = 6;

const items = (lessons) => lessons.map(({ text }) => el("li", {}, said(text)));

/* The most pressing first; more folded; then of whom nothing can be said, and boxes that were perhaps lost whole. */
export async function lessons(signal) {
  const answer = await get("/v1/lessons", { signal });
  const { lessons: all, undecided, lost } = answer;
  return [
    all.length ? el("ol", { class: "lessons" }, items(all.slice(0, SHOWN))) : el("p", {}, nothing(answer)),
    all.length > SHOWN
      ? el(
          "details",
          {},
          el("summary", {}, `${count(all.length - SHOWN)} more`),
          el("ol", { class: "lessons", start: SHOWN + 1 }, items(all.slice(SHOWN))),
        )
      : null,
    undecided.map((text) => el("p", { class: "hint" }, said(text))),
    lost.length
      ? [
          el("h3", {}, "Perhaps lost whole"),
          el("ul", {}, lost.map(({ id, text, shipment }) => el("li", {}, linked(id, shipment, said(text))))),
        ]
      : null,
  ]
    .flat(Infinity)
    .filter(Boolean);
}

const nothing = ({ boxes }) =>
  boxes
    ? "Nothing speaks clearly for or against a seller, a plant or a packing yet."
    : "Nothing is learned from boxes of your own yet. Count what arrives under Boxes, or take in a file below, and learn from it.";

/* The name of the box, which the sentence begins with, as a link. */
const linked = (id, name, text) =>
  text.startsWith(name) ? [el("a", { href: address(id) }, name), text.slice(name.length)] : text;

const LISTED = new Set(["seller", "genus", "cultivar"]);

/* What is taught about the seller and the plants of one box; fills itself, and is empty where that is nothing. */
export function boxLessons({ seller, lines }, signal) {
  const place = el("div");
  const genera = new Set(lines.map(({ genus }) => genus.toLowerCase()));
  const isOfBox = ({ about, label }) => {
    if (!LISTED.has(about)) return false;
    const name = label.toLowerCase();
    if (about === "seller") return name === (seller ?? "").toLowerCase();
    const [, typed, accepted] = /^(.*) \((.*)\)$/.exec(name) ?? [null, name, name];
    return about === "genus" && (genera.has(typed) || genera.has(accepted));
  };
  get("/v1/lessons", { signal }).then(
    ({ lessons: all }) => {
      const own = all.filter(isOfBox);
      if (own.length) place.replaceChildren(el("h2", {}, "What your boxes say of this"), el("ul", {}, items(own)));
    },
    () => {}, // said under Look back; here it is only a reminder
  );
  return place;
}
