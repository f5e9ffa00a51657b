/* That an earlier version was gone back to by hand, and the two ways on from there. */

import { call } from "/page/api.js";
import { announce, el } from "/page/dom.js";
import { failure } from "/page/notices.js";
import { count, date } from "/page/settings.js";

/* `model` is the active one; `changed()` hears that another answers, or that the going back is over. */
export function heldPart({ held, fitted }, signal, changed) {
  if (!held) return null;
  const place = el("div");
  const waits = held.waiting === 1 ? "1 newer version waits" : `${count(held.waiting)} newer versions wait`;

  const way = (words, method, path, said) =>
    el(
      "button",
      {
        type: "button",
        on: {
          click: async () => {
            try {
              await call(method, path, { signal });
              announce(said);
              await changed();
            } catch (fault) {
              if (!signal.aborted) place.replaceChildren(failure(fault));
            }
          },
        },
      },
      words,
    );
  const newest = `/v1/model/versions/${encodeURIComponent(held.newest)}/activate`;
  return el(
    "div",
    { class: "notice", role: "status" },
    el(
      "p",
      {},
      `You went back to ${fitted ? `the version of ${date(fitted.slice(0, 10))}` : "the rules of thumb"} on ${date(held.since.slice(0, 10))}, and it answers until you say otherwise. ${waits}: boxes are still learned from, but nothing new answers by itself.`,
    ),
    el(
      "div",
      { class: "actions" },
      held.newest ? way("Take the newest", "POST", newest, "The newest version answers now.") : null,
      way("Learn by itself again", "DELETE", "/v1/model/hold", "New versions answer by themselves again."),
    ),
    place,
  );
}
