/* A count with large buttons for a thumb, or typed. */

import { el } from "/page/dom.js";
import { field } from "/page/fields.js";

/* Return {node, input}. `change(wanted)` hears of every change, and puts what became of it into `input.value`;
   `of` is what is counted, for a screen reader; `describedBy` the id of what the state means. */
export function stepper({ kind, label, of, value, change, pointer, describedBy }) {
  const read = () => Number(input.value.replace(/\D/g, "") || 0);
  const input = el("input", {
    type: "text",
    inputmode: "numeric",
    autocomplete: "off",
    value,
    on: { change: () => change(read()), focus: () => input.select() },
  });
  const step = (by, sign, word) =>
    el(
      "button",
      {
        type: "button",
        class: "step",
        "aria-label": `One ${word}, ${label.toLowerCase()}: ${of()}`,
        on: { click: () => change(read() + by) },
      },
      sign,
    );
  input.wrapper = el("span", { class: "stepper" }, step(-1, "−", "less"), input, step(1, "+", "more"));
  return { node: el("div", { class: `tally tally-${kind}` }, field(label, input, { pointer, describedBy })), input };
}
