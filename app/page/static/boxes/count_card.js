/* One line of a box being counted: large buttons for a thumb, numbers that always add up. */

import { plantName } from "/page/boxes/words.js";
import { inWords, MOST, STATES, withCount } from "/page/counts.js";
import { announce, el, newId } from "/page/dom.js";
import { field, textInput } from "/page/fields.js";
import { genera } from "/page/lists.js";
import { ranked } from "/page/spelling.js";
import { stepper } from "/page/stepper.js";
import { suggest } from "/page/suggest.js";

const NAMES = { sent: "In the box", healthy: "Healthy", damaged: "Damaged", dead: "Dead" };
const MEANINGS = {
  healthy: "firm stem, sound roots.",
  damaged: "alive, but yellow, bruised or part-rotted.",
  dead: "roots rotted or gone, or rot in the stem.",
};
const meaningId = (state) => `meaning-${state}`;

/* What the states mean, said once for all lines. */
export const meanings = () =>
  el(
    "ul",
    { class: "meanings hint" },
    STATES.map((state) => el("li", { id: meaningId(state) }, el("strong", {}, NAMES[state]), `: ${MEANINGS[state]}`)),
  );

/* `line` is changed in place; `index` is its place in the request; `changed()` hears of it; `remove` takes an extra away. */
export function countCard(line, index, changed, remove) {
  const inputs = {};
  const missing = el("p", { class: "missing", hidden: true });
  const name = () => (line.genus ? plantName(line) : "plant not ordered");

  function set(which, wanted) {
    Object.assign(line, withCount(line, which, wanted));
    draw();
    announce(`${name()}: ${inWords(line)}`);
    changed();
  }

  function draw() {
    for (const [which, input] of Object.entries(inputs)) input.value = line[which];
    const short = (line.quantity ?? line.sent) - line.sent;
    missing.hidden = short === 0;
    missing.textContent =
      short > 0 ? `${short} missing: ordered and not in the box. Can be claimed.` : `${-short} more than ordered.`;
  }

  function counter(which) {
    const { node, input } = stepper({
      kind: which,
      label: NAMES[which],
      of: name,
      current: () => line[which],
      most: () => (which === "sent" ? MOST : line.sent),
      change: (wanted) => set(which, wanted),
      pointer: `/lines/${index}/${which}`,
      describedBy: MEANINGS[which] ? meaningId(which) : null,
    });
    inputs[which] = input;
    return node;
  }

  const all = (state) =>
    el("button", { type: "button", class: "small", on: { click: () => set(state, line.sent) } }, `All ${state}`);
  const named = newId("counted");
  const card = el(
    "div",
    { class: "counted", role: "group", "aria-labelledby": named },
    el(
      "p",
      { class: "counted-name", id: named },
      el("strong", {}, line.line === null ? "Not ordered" : plantName(line)),
      line.quantity === null || line.line === null ? null : el("span", { class: "hint" }, ` ${line.quantity} ordered`),
    ),
    line.line === null ? extraFields(line, index, changed) : null,
    STATES.map(counter),
    counter("sent"),
    el(
      "details",
      { class: "counted-more", open: Boolean(line.note) },
      el("summary", {}, "Note, all alike"),
      el("div", { class: "actions" }, all("healthy"), all("dead")),
      field(
        "Note",
        textInput(
          line.note,
          (text) => {
            line.note = text ?? "";
            changed();
          },
          { maxlength: 120 },
        ),
        { pointer: `/lines/${index}/note` },
      ),
    ),
    missing,
    remove ? el("button", { type: "button", class: "small counted-away", on: { click: remove } }, "Take away") : null,
  );
  draw();
  return card;
}

/* What a plant that was not ordered is; suggestions where the server can be reached. */
function extraFields(line, index, changed) {
  let names = [];
  genera().then(
    (items) => (names = items),
    () => {},
  );
  const genus = suggest({
    value: line.genus,
    search: (text) =>
      ranked(names, text, ({ genus: name }) => [name]).map(({ genus: name }) => ({ value: name, text: name })),
    pick: (option) => take(option.value),
    typed: (text) => take(text.trim()),
  });
  const take = (text) => {
    line.genus = text;
    changed();
  };
  return el(
    "div",
    { class: "fields counted-plant" },
    field("Genus", genus, { pointer: `/lines/${index}/genus` }),
    field(
      "Cultivar",
      textInput(
        line.cultivar,
        (text) => {
          line.cultivar = text;
          changed();
        },
        { maxlength: 120 },
      ),
      { pointer: `/lines/${index}/cultivar` },
    ),
  );
}
