/* What went wrong, said where the answer would stand, with what to do about it. */

import { el } from "/page/dom.js";
import { NetworkDown, Problem } from "/page/api.js";
import { openSettings } from "/page/settings_dialog.js";

/* Draw a fault; `retry` makes a button. Errors in `errors` are listed; by default all of a Problem's. */
export function failure(fault, retry, errors = fault.errors ?? []) {
  const known = fault instanceof Problem || fault instanceof NetworkDown;
  if (!known) console.error(fault);
  const text = known ? fault.message : "This page has a fault of its own. Load it anew; what was typed is kept.";
  return el(
    "div",
    { class: "notice bad", role: "alert" },
    el("p", {}, text),
    errors.length ? el("ul", {}, errors.map(({ pointer, message }) => el("li", {}, `${pointer || "The whole"}: ${message}`))) : null,
    fault.status === 401 ? el("button", { type: "button", on: { click: openSettings } }, "Enter a key") : null,
    retry && fault.status !== 401 ? el("button", { type: "button", on: { click: retry } }, "Try again") : null,
  );
}

/* A question asked before something is recorded that is probably not meant; `button`, pressed again, is the yes. */
export function askOnce(question, button) {
  return el(
    "div",
    { class: "notice", role: "alert" },
    el("p", {}, `${question} If so, press “${button.textContent}” once more.`),
  );
}

/* A list of the answer's cautions. `said` text, who decides, and when a rule was checked. */
export function cautionList(cautions, { said, date }) {
  return el(
    "ul",
    { class: "cautions" },
    cautions.map((caution) =>
      el(
        "li",
        {},
        said(caution.text),
        caution.decided_by || caution.checked
          ? el(
              "span",
              { class: "hint" },
              [
                caution.decided_by ? ` Decided by: ${caution.decided_by}.` : "",
                caution.checked ? ` Checked ${date(caution.checked)}.` : "",
              ].join(""),
            )
          : null,
      ),
    ),
  );
}
