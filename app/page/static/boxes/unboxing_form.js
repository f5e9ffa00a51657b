/* The counts of a box as they are entered, from what is known of it, and as the server takes them. */

import { freshCounts } from "/page/counts.js";
import { nowTyped, toMoment, toTyped } from "/page/times.js";

const typed = (moment) => (moment ? toTyped(moment) : null);

/* A form for a box of which nothing is counted yet: all that was ordered is there and healthy. */
export function freshForm(lines, { etag, departed_at: departed }) {
  return {
    etag,
    arrived_at: nowTyped(),
    opened_at: null,
    departed_at: null,
    departure_known: Boolean(departed),
    departure: departed ?? null,
    lines: lines.map((line, i) => ({
      line: line.line ?? i,
      genus: line.genus,
      cultivar: line.cultivar,
      quantity: line.quantity ?? null,
      ...freshCounts(line.quantity ?? line.sent ?? 0),
      note: "",
    })),
    notes: "",
    photos: [],
    inside_temp_c: null,
    inside_min_c: null,
    inside_max_c: null,
    logger_csv: null,
    logger_name: null,
  };
}

/* A form that corrects an arrival on record. */
export function formOf({ arrival, departed_at: departed }, etag, ordered) {
  return {
    etag,
    arrived_at: typed(arrival.arrived_at) ?? `${arrival.arrival_date}T12:00`,
    opened_at: arrival.opened_at === arrival.arrived_at ? null : typed(arrival.opened_at),
    departed_at: null,
    departure_known: Boolean(departed),
    departure: departed ?? null,
    lines: arrival.lines.map((line) => ({
      line: line.line < ordered ? line.line : null,
      genus: line.genus,
      cultivar: line.cultivar,
      quantity: line.quantity,
      sent: line.sent ?? 0,
      healthy: line.healthy ?? line.sent ?? 0,
      damaged: line.damaged ?? 0,
      dead: line.dead ?? 0,
      note: line.note,
    })),
    notes: arrival.notes,
    photos: arrival.photos,
    inside_temp_c: arrival.logger.length ? null : arrival.inside_temp_c,
    inside_min_c: arrival.logger.length ? null : arrival.inside_min_c,
    inside_max_c: arrival.logger.length ? null : arrival.inside_max_c,
    logger_csv: arrival.logger.length
      ? ["at,inside_c", ...arrival.logger.map(({ at, inside_c: c }) => `${at},${c}`)].join("\n")
      : null,
    logger_name: arrival.logger.length ? "readings on record" : null,
  };
}

/* The body of PUT arrival. */
export function bodyOf(form) {
  const body = {
    arrived_at: toMoment(form.arrived_at),
    opened_at: toMoment(form.opened_at),
    departed_at: toMoment(form.departed_at),
    lines: form.lines.map(({ line, genus, cultivar, sent, healthy, damaged, dead, note }) => ({
      ...(line === null ? { genus, cultivar } : { line }),
      sent,
      healthy,
      damaged,
      dead,
      note,
    })),
    notes: form.notes,
    photos: form.photos,
    inside_temp_c: form.inside_temp_c,
    inside_min_c: form.inside_min_c ?? null,
    inside_max_c: form.inside_max_c ?? null,
    logger_csv: form.logger_csv,
  };
  return Object.fromEntries(Object.entries(body).filter(([, value]) => value !== null));
}

/* Whether the counts are still as they were before anybody counted: all that was ordered, and healthy. */
export const untouched = (form) =>
  form.lines.every((line) => line.line !== null && line.sent === (line.quantity ?? line.sent) && line.healthy === line.sent);

/* Plants counted so far, in words. */
export function totals(lines) {
  const sum = (name) => lines.reduce((total, line) => total + line[name], 0);
  const short = lines.reduce((total, line) => total + Math.max((line.quantity ?? line.sent) - line.sent, 0), 0);
  return { sent: sum("sent"), healthy: sum("healthy"), damaged: sum("damaged"), dead: sum("dead"), missing: short };
}
