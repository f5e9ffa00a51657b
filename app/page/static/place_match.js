/* A place that was typed and left: matched to one of the table, or asked about. */

import { announce, el, replace } from "/page/dom.js";
import { exactly, plain, ranked } from "/page/spelling.js";

const MOST = 3;
const CODE = /^[A-Za-z]{3}$/;

/* What `text` means among places: {place} where it is clear, {code} for an airport outside the table, with `near` for
   both; only `near`, perhaps empty, where it has to be asked. `names(place)` are the names that it goes by. */
export function placeMeant(all, text, names) {
  const found = exactly(all, text, names);
  if (found) return { place: found, near: [] };
  const near = ranked(all, text, names);
  if (CODE.test(text)) return { code: text.toUpperCase(), near };
  const cities = new Set(near.map((place) => plain(place.city)));
  return cities.size === 1 ? { place: near[0], near: [] } : { near };
}

/* Settle what was typed into `input` once it is left: `take(place or code)` hears of what it means, `said(place)` is how a
   place is written. Returns the element that asks where it is not clear. */
export function settling(input, { all, names, said, take }) {
  const note = el("p", { class: "hint spelling" });
  const choose = (place) => {
    input.value = said(place);
    replace(note);
    take(place.iata);
  };
  const settle = () => {
    const text = input.value.trim();
    replace(note);
    if (!text) return;
    const { place, code, near } = placeMeant(all, text, names);
    if (place) {
      if (input.value !== said(place)) announce(`Read as ${said(place)}`);
      choose(place);
      return;
    }
    if (code) input.value = code;
    if (code && !near.length) return;
    const words = code
      ? `Read as the airport ${code}. Or is it`
      : near.length
        ? "Which one?"
        : "Not in the list of places: give the three letters of the airport.";
    const offers = near.slice(0, MOST).map((one) => el("button", { type: "button", class: "small", on: { click: () => choose(one) } }, said(one)));
    replace(note, words, offers.flatMap((offer) => [" ", offer]));
    announce(words);
  };
  input.addEventListener("blur", settle);
  input.addEventListener("input", () => replace(note));
  return note;
}
