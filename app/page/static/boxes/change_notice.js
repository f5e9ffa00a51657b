/* Above the form of Compare: which plan is being changed. */

import { CHANGE_WORDS, changing, endChange } from "/page/boxes/change.js";
import { address } from "/page/boxes/words.js";
import { el } from "/page/dom.js";

export function changeNotice() {
  const changes = changing();
  if (!changes) return null;
  const leave = () => {
    endChange();
    location.hash = address(changes.id);
  };
  return el(
    "div",
    { class: "notice" },
    el("p", {}, "You are changing the plan of ", el("strong", {}, changes.name), `. Change what you like, then press “${CHANGE_WORDS}” under the way it takes.`),
    el("button", { type: "button", class: "small", on: { click: leave } }, "Leave the plan as it is"),
  );
}
