/* What is in force in a folded part of a form, said on its fold: what was given there counts though it is out of sight. */

import { el } from "/page/dom.js";

const MOST = 3;
const telling = new WeakMap();

/* "Certificate 40 EUR, Duty 4 % and 2 more" of what is filled in within a part; "" where nothing is. */
function givenIn(part) {
  const given = [];
  for (const field of part.querySelectorAll(".field")) {
    const input = field.querySelector("[data-pointer]");
    if (!input) continue;
    const isChoice = input.tagName === "SELECT";
    const value = isChoice ? (input.selectedIndex > 0 ? input.selectedOptions[0].textContent : "") : input.value.trim();
    const unit = field.querySelector(".unit")?.textContent;
    if (value) given.push([field.querySelector("label").textContent, value, unit].filter(Boolean).join(" "));
  }
  const more = given.length - MOST;
  return `${given.slice(0, MOST).join(", ")}${more > 0 ? ` and ${more} more` : ""}`;
}

/* Have the fold of `part`, a details, say `words()`, by default what is filled in; returns what says it anew. */
export function sayInForce(part, words = () => givenIn(part)) {
  const place = el("span", { class: "in-force" });
  part.querySelector("summary").append(place);
  const tell = () => {
    const text = words();
    if (text !== place.textContent) place.textContent = text;
  };
  telling.set(part, tell);
  for (const event of ["input", "change"]) part.addEventListener(event, tell);
  tell();
  return tell;
}

/* Have all folds within a form say it anew: one may speak of what another part of the form holds. */
export function sayAllInForce(form) {
  for (const part of form.querySelectorAll("details")) telling.get(part)?.();
}
