/* The part of the form about the journey: from where, to where, and on which day. */

import { draft, setAt, valueAt } from "/page/batch.js";
import { el } from "/page/dom.js";
import { departureQuestion } from "/page/far_dates.js";
import { dateInput, field } from "/page/fields.js";
import { places } from "/page/lists.js";
import { settling } from "/page/place_match.js";
import { exactly, ranked } from "/page/spelling.js";
import { suggest } from "/page/suggest.js";

const said = (place) => `${place.city} (${place.iata})`;
const names = (place) => [place.iata, place.city];
const written = (place) => [...names(place), said(place)];
const countries = new Intl.DisplayNames(["en"], { type: "region" });

function country(code) {
  try {
    return countries.of(code);
  } catch {
    return code;
  }
}

/* `store` keeps the code: the batch, unless another is given. One entry a code; a city whose code repeats its airport's row stays, since either may be typed. */
export function placeField(label, pointer, all, changed, store = { valueAt, setAt }) {
  const known = all.find((place) => place.iata === store.valueAt(pointer));
  const take = (code) => {
    if (code === store.valueAt(pointer)) return;
    store.setAt(pointer, code);
    changed();
  };
  const input = suggest({
    value: known ? said(known) : store.valueAt(pointer),
    search: (text) =>
      ranked(all, text, names).map((place) => ({ value: place.iata, text: said(place), note: country(place.country) })),
    pick: (option) => take(option.value),
    typed: (text) => {
      const found = exactly(all, text, written);
      // An airport outside the table is known to the server by its code.
      take(found?.iata ?? (/^[A-Za-z]{3}$/.test(text.trim()) ? text.trim().toUpperCase() : null));
    },
    attributes: { placeholder: "city or airport code" },
  });
  const note = settling(input, { all, names: written, said, take });
  const made = field(label, input, { pointer });
  made.querySelector(".beneath").append(note);
  return made;
}

/* `day` is false where the view asks for a span of days instead. */
export async function journeyFields(changed, { day = true } = {}) {
  const all = await places();
  const doubt = el("span", { class: "hint", role: "status" }, departureQuestion(draft().ship_date));
  const leaves = field(
    "Leaves on",
    dateInput(draft().ship_date, (value) => {
      setAt("/ship_date", value);
      doubt.textContent = departureQuestion(value);
      changed();
    }),
    { pointer: "/ship_date" },
  );
  leaves.querySelector(".beneath").append(doubt);
  return el(
    "fieldset",
    {},
    el("legend", {}, "Journey"),
    el(
      "div",
      { class: "fields" },
      placeField("From", "/origin", all, changed),
      placeField("To", "/destination", all, changed),
      day ? leaves : null,
    ),
  );
}
