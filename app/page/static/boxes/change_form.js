/* A small form that sends one change of a box. */

import { el } from "/page/dom.js";
import { clearErrors, showErrors } from "/page/fields.js";
import { askOnce, failure } from "/page/notices.js";

/* Its fields are within `fields`. `check()` may return {errors} that stand at the fields, or a {question} to be asked
   before it is sent, once for what then stands there; `refused(errors)` hears what the server did not take, before it is shown. */
export function changeForm(words, main, fields, send, { check = () => ({}), refused = () => {} } = {}) {
  const place = el("div");
  const button = el("button", { type: "submit", class: main ? "main" : null }, words);
  const form = el(
    "form",
    { novalidate: true, on: { submit } },
    el("div", { class: "fields" }, fields),
    place,
    el("div", { class: "actions" }, button),
  );
  let asked = null;
  const askAnew = () => (asked = null); // a yes to what was typed before is none to this
  for (const event of ["input", "change"]) form.addEventListener(event, askAnew);
  async function submit(event) {
    event.preventDefault();
    button.disabled = true;
    place.replaceChildren();
    clearErrors(form);
    try {
      const { errors = [], question = null } = await check();
      if (errors.length) {
        showErrors(form, errors);
        form.querySelector("[aria-invalid]")?.focus();
      } else if (question && question !== asked) {
        asked = question;
        place.replaceChildren(askOnce(question, button));
      } else await send();
    } catch (fault) {
      if (fault.name !== "AbortError") {
        refused(fault.errors ?? []);
        place.replaceChildren(failure(fault, null, showErrors(form, fault.errors ?? [])));
      }
    }
    button.disabled = false;
  }
  return form;
}
