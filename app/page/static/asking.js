/* The frame of a view that asks about the batch: a form, its answer beside it, and a button that jumps there. */

import { el } from "/page/dom.js";
import { jumpTo, live } from "/page/live.js";

/* Fill `root`: a heading and a sentence, then `fields(changed)`, which may be async and returns the parts of the form.
   `ask` is that of `live`; `draw({ data, body, own, form, answer })` fills the answer and returns its sentence. */
export async function asking({ root, signal, heading, sentence, ask, draw, fields }) {
  const form = el("form", { class: "asking", autocomplete: "off", on: { submit: (event) => event.preventDefault() } });
  const answer = el("div", { class: "answer" });
  const jump = jumpTo(answer);
  const { changed, update } = live({
    form,
    answer,
    jump,
    signal,
    ask,
    draw: (data, body, own) => draw({ data, body, own, form, answer }),
  });
  form.append(...(await fields(changed)));
  if (signal.aborted) return;
  root.append(el("h1", {}, heading), el("p", {}, sentence), el("div", { class: "two" }, form, answer), jump.link);
  await update();
}
