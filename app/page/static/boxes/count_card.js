/* One line of a box being counted: large buttons for a thumb, numbers that always add up. */

import { plantName } from "/page/boxes/words.js";
import { inWords, STATES, withCount } from "/page/counts.js";
import { announce, el } from "/page/dom.js";
import { field, textInput } from "/page/fields.js";
import { genera } from "/page/lists.js";
import { ranked } from "/page/spelling.js";
import { stepper } from "/page/stepper.js";
import { suggest } from "/page/suggest.js";

const NAMES = { sent: "In the box", healthy: "Healthy", damaged: "Damaged", dead: "Dead" };
const HINTS = {
  healthy: "Firm stem, sound roots.",
  damaged: "Alive, but yellow, bruised or part-rotted.",
  dead: "Roots rotted or gone, or rot in the stem.",
};

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
      value: line[which],
      change: (wanted) => set(which, wanted),
      pointer: `/lines/${index}/${which}`,
      hint: HINTS[which],
    });
    inputs[which] = input;
    return node;
  }

  const all = (state) =>
    el("button", { type: "button", class: "small", on: { click: () => set(state, line.sent) } }, `All ${state}`);
  const card = el(
    "fieldset",
    { class: "card" },
    el(
      "legend",
      {},
      line.line === null ? "Not ordered" : plantName(line),
      line.quantity === null || line.line === null ? null : el("span", { class: "hint" }, ` ${line.quantity} ordered`),
    ),
    line.line === null ? extraFields(line, index, changed) : null,
    counter("sent"),
    missing,
    STATES.map(counter),
    el(
      "div",
      { class: "actions" },
      all("healthy"),
      all("dead"),
      remove ? el("button", { type: "button", class: "small", on: { click: remove } }, "Take away") : null,
    ),
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
    { class: "fields" },
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
