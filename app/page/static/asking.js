/* The frame of a view that asks about the batch: a form, its answer beside it, and a button that jumps there. */

import { el } from "/page/dom.js";
import { elsewhereNotice } from "/page/draft_elsewhere.js";
import { sayAllInForce } from "/page/in_force.js";
import { jumpTo, live } from "/page/live.js";

/* Fill `root`: a heading and a sentence, then `fields(changed)`, which may be async and returns the parts of the form.
   `ask` is that of `live`; `draw({ data, body, own, form, answer })` fills the answer and returns its sentence. */
export async function asking({ root, signal, heading, sentence, ask, draw, fields }) {
  const form = el("form", { class: "asking", autocomplete: "off", on: { submit: (event) => event.preventDefault() } });
  const answer = el("div", { id: "answer", class: "answer", tabindex: "-1" });
  const past = el("a", { class: "skip", href: `#${answer.id}`, on: { click: toAnswer } }, "Past the form to the answer");
  const jump = jumpTo(answer);
  const { changed, update } = live({
    form,
    answer,
    jump,
    signal,
    ask,
    draw: (data, body, own) => draw({ data, body, own, form, answer }),
  });
  form.append(elsewhereNotice(signal), ...(await fields(changed)));
  sayAllInForce(form);
  for (const event of ["input", "change", "click"]) form.addEventListener(event, () => sayAllInForce(form));
  if (signal.aborted) return;
  root.append(el("h1", {}, heading), past, el("p", {}, sentence), el("div", { class: "two" }, form, answer), jump.link);
  await update();

  function toAnswer(event) {
    event.preventDefault(); // the address names the view and must stay
    const first = answer.querySelector("h2[tabindex]") ?? answer.firstElementChild ?? answer;
    first.tabIndex = -1; // the answer itself has no place of its own where its parts stand beside and below the form
    first.focus();
  }
}

/* The parts of an answer: what decides stands `beside` the form, in sight as long as the form is; the rest `below` both. */
export const answerParts = (beside, below) => [
  el("div", { class: "answer-beside" }, el("div", { class: "in-sight" }, beside)),
  el("div", { class: "answer-below" }, below),
];
