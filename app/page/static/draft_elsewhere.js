/* Above the form of the batch: it was changed in another tab, which to keep. */

import { ELSEWHERE, isChangedElsewhere, keepThisDraft, takeOtherDraft } from "/page/batch.js";
import { announce, el } from "/page/dom.js";
import { showAgain } from "/page/settings.js";

const SAID = "The batch was changed in another tab.";

/* A place that fills as soon as that happens, until one is chosen. */
export function elsewhereNotice(signal) {
  const place = el("div");
  const draw = () =>
    place.replaceChildren(
      el(
        "div",
        { class: "notice" },
        el("p", {}, el("strong", {}, SAID), " Which is to be kept? What you change here is not kept until you say."),
        el(
          "div",
          { class: "actions" },
          el("button", { type: "button", on: { click: takeOther } }, "Take the other tab's"),
          el("button", { type: "button", on: { click: keepThis } }, "Keep this one"),
        ),
      ),
    );
  const tell = () => {
    draw();
    announce(SAID);
  };

  function takeOther() {
    takeOtherDraft();
    showAgain();
  }

  function keepThis() {
    keepThisDraft();
    place.replaceChildren();
    announce("This batch is kept.");
  }

  if (isChangedElsewhere()) draw();
  document.addEventListener(ELSEWHERE, tell, { signal });
  return place;
}
