/* A count with large buttons for a thumb, or typed. */

import { readCount } from "/page/amounts.js";
import { announce, el } from "/page/dom.js";
import { field } from "/page/fields.js";
import { count } from "/page/settings.js";

/* Return {node, input}. `change(wanted)` hears of every change, and puts what became of it into `input.value`;
   `current()` is the count as it stands and `most()` the largest there can be, `of` what is counted, for a screen reader;
   `describedBy` the id of what the state means. */
export function stepper({ kind, label, of, current, most, change, pointer, describedBy }) {
  const input = el("input", {
    type: "text",
    inputmode: "numeric",
    autocomplete: "off",
    value: current(),
    on: { change: take, focus: () => input.select() },
  });
  const slot = () => document.getElementById(`${input.id}-error`);

  /* What is no count of these plants is not made one: the count stays, and it is said. */
  function take() {
    const typed = input.value.trim();
    const wanted = readCount(typed) ?? 0;
    const fits = Number.isInteger(wanted) && wanted >= 0 && wanted <= most();
    if (fits) {
      right();
      change(wanted);
      return;
    }
    input.value = current();
    input.dataset.misread = typed;
    input.setAttribute("aria-invalid", "true");
    const words = `“${typed}” is no whole number from 0 to ${count(most())}: left at ${count(current())}.`;
    slot().textContent = words;
    announce(words);
  }

  function right() {
    if (!("misread" in input.dataset)) return;
    delete input.dataset.misread;
    input.removeAttribute("aria-invalid");
    slot().textContent = "";
  }

  const step = (by, sign, word) =>
    el(
      "button",
      {
        type: "button",
        class: "step",
        "aria-label": `One ${word}, ${label.toLowerCase()}: ${of()}`,
        on: {
          click: () => {
            right();
            change(current() + by);
          },
        },
      },
      sign,
    );
  input.wrapper = el("span", { class: "stepper" }, step(-1, "−", "less"), input, step(1, "+", "more"));
  return { node: el("div", { class: `tally tally-${kind}` }, field(label, input, { pointer, describedBy })), input };
}

/* A question where a count in `form` could not be read and stays as it was, asked once; null where there is none. */
export function misreadQuestion(form) {
  const inputs = [...form.querySelectorAll("[data-misread]")];
  if (!inputs.length) return null;
  const typed = inputs.map((input) => `“${input.dataset.misread}”`).join(", ");
  for (const input of inputs) delete input.dataset.misread;
  inputs[0].focus();
  return `${typed} could not be read as a count: what stood there before stands there still. Is that right?`;
}
