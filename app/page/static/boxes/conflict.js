/* The same box counted twice, here and elsewhere: both versions side by side, and a choice. */

import { boxOf } from "/page/boxes/known.js";
import { address, boxName, plantName } from "/page/boxes/words.js";
import { announce, el } from "/page/dom.js";
import { waitingFor } from "/page/kept.js";
import { failure } from "/page/notices.js";
import { tableOf } from "/page/plot.js";
import { dropMine, sendMine } from "/page/sending.js";
import { count, moment } from "/page/settings.js";

const COLUMNS = {
  arrival: [
    ["sent", "Sent"],
    ["healthy", "Healthy"],
    ["damaged", "Damaged"],
    ["dead", "Dead"],
  ],
  recheck: [
    ["healthy", "Healthy"],
    ["damaged", "Damaged"],
    ["dead", "Dead"],
    ["gone", "Gone"],
  ],
};

export async function show(root, id, signal, [kind = "arrival"]) {
  const entry = waitingFor(id, kind);
  if (entry?.state !== "conflict") {
    location.replace(address(id));
    return;
  }
  const { shipment, item } = await boxOf(id, signal);
  const name = boxName(
    shipment
      ? { reference: shipment.reference, lines: shipment.arrival?.lines ?? item.lines, ship_date: item?.ship_date }
      : item,
  );
  const known = shipment?.arrival?.lines ?? item?.lines ?? [];
  const place = el("div");

  async function settle(button, act, words) {
    button.disabled = true;
    try {
      const state = await act();
      if (state === "conflict") {
        root.replaceChildren();
        await show(root, id, signal, [kind]);
        announce("It was changed again meanwhile.");
        return;
      }
      announce(state === "waiting" ? "It is sent once the server can be reached." : words);
      location.hash = state === "refused" ? address(id, kind) : address(id);
    } catch (fault) {
      place.replaceChildren(failure(fault));
    }
    button.disabled = false;
  }

  const mine = el(
    "button",
    {
      type: "button",
      class: "main",
      on: { click: () => settle(mine, () => sendMine(entry), "Your counts replace the others.") },
    },
    "Keep mine",
  );
  const theirs = el(
    "button",
    { type: "button", on: { click: () => settle(theirs, async () => dropMine(entry), "The stored counts stay.") } },
    "Keep the stored ones",
  );
  root.append(
    el("p", {}, el("a", { href: address(id) }, "Back to the box")),
    el("h1", { tabindex: "-1" }, `Counted twice: ${name}`),
    el(
      "p",
      {},
      "Someone recorded other counts of this box before yours were sent. Choose which to keep; what is replaced stays in the box's history.",
    ),
    el(
      "div",
      { class: "versions" },
      version("Yours, on this device", entry.body.lines, entry.saved_at, entry.body.notes, kind, known),
      version(
        "Stored",
        entry.theirs.lines,
        entry.theirs.arrived_at ?? entry.theirs.checked_at,
        entry.theirs.notes,
        kind,
        known,
      ),
    ),
    place,
    el(
      "div",
      { class: "actions" },
      mine,
      theirs,
      el("a", { class: "button", href: address(id, kind) }, "Correct mine first"),
    ),
  );
}

function version(heading, lines, when, notes, kind, known) {
  const names = new Map(known.map((line) => [line.line, plantName(line)]));
  const columns = COLUMNS[kind];
  return el(
    "section",
    { "aria-label": heading },
    el("h2", {}, heading),
    el("p", { class: "hint" }, when ? moment(when) : ""),
    el(
      "div",
      { class: "scroll", tabindex: "0", role: "region", "aria-label": `Table: ${heading}` },
      tableOf({
        head: ["Plant", ...columns.map(([, text]) => text)],
        rows: lines.map((line) => [
          line.genus ? plantName(line) : (names.get(line.line) ?? `Line ${line.line + 1}`),
          ...columns.map(([key]) => (line[key] === null || line[key] === undefined ? "–" : count(line[key]))),
        ]),
      }),
    ),
    notes ? el("p", {}, notes) : null,
  );
}
