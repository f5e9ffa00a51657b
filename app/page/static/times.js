/* Moments as typed: by the clock of this device, sent with its offset. */

import { el } from "/page/dom.js";

const MINUTE_MS = 60_000;

/* A moment "2027-01-16T09:30:00Z" as an input of type datetime-local wants it. */
export function toTyped(moment) {
  const at = new Date(moment);
  return new Date(at.getTime() - at.getTimezoneOffset() * MINUTE_MS).toISOString().slice(0, 16);
}

/* "2027-01-16T09:30" of this device -> "2027-01-16T09:30:00+01:00"; null where nothing was typed. */
export function toMoment(typed) {
  if (!typed) return null;
  const minutes = -new Date(typed).getTimezoneOffset();
  const size = Math.abs(minutes);
  const two = (n) => String(n).padStart(2, "0");
  const seconds = typed.length === 16 ? ":00" : "";
  return `${typed}${seconds}${minutes < 0 ? "-" : "+"}${two(Math.floor(size / 60))}:${two(size % 60)}`;
}

const DAY_MS = 86_400_000;

/* Faults of typed moments that lie more than a day ahead of this device's clock, as [{pointer, message}]: told here, since
   counts may be sent much later. */
export const aheadFaults = (form, names) =>
  names
    .filter((name) => form[name] && new Date(form[name]).getTime() > Date.now() + DAY_MS)
    .map((name) => ({ pointer: `/${name}`, message: "must not lie in the future: it is recorded as having happened" }));

export const nowTyped = () => toTyped(Date.now());

export function momentInput(value, change, attributes = {}) {
  return el("input", {
    type: "datetime-local",
    value: value ?? "",
    ...attributes,
    on: { input: (event) => change(event.target.value || null) },
  });
}
