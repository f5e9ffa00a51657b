/* Whether what was sent is what a box has on record: how a lost answer is told from a conflict. */

const sameMoment = (one, other) => new Date(one ?? 0).getTime() === new Date(other ?? 0).getTime();
const sameText = (one, other) => (one ?? "").trim() === (other ?? "").trim();
const sameNumber = (one, other) => one === other || Math.abs(one - other) < 1e-6;

/* `entry` is what waits ({kind, body}), `stored` the arrival or recheck of the shipment. */
export const isRecorded = ({ kind, body }, stored) => (kind === "arrival" ? isArrival : isRecheck)(body, stored);

function isArrival(body, stored) {
  const known = body.lines.filter(({ line }) => line !== undefined).sort((a, b) => a.line - b.line);
  const extra = body.lines.filter(({ line }) => line === undefined);
  const lines = [...known, ...extra];
  return (
    sameMoment(body.arrived_at, stored.arrived_at) &&
    sameMoment(body.opened_at ?? body.arrived_at, stored.opened_at) &&
    sameText(body.notes, stored.notes) &&
    JSON.stringify(body.photos ?? []) === JSON.stringify(stored.photos) &&
    ["inside_temp_c", "inside_min_c", "inside_max_c"].every(
      (name) => body[name] === undefined || sameNumber(body[name], stored[name]),
    ) &&
    (body.logger_csv === undefined || stored.logger.length > 0) &&
    lines.length === stored.lines.length &&
    lines.every((line, i) => isLine(line, stored.lines[i]))
  );
}

function isLine(line, stored) {
  const named = line.genus === undefined || sameText(line.genus.toLowerCase(), stored.genus.toLowerCase());
  const counted = ["sent", "healthy", "damaged", "dead"].every((name) => line[name] === stored[name]);
  return named && counted && sameText(line.note, stored.note);
}

function isRecheck(body, stored) {
  const found = new Map(stored.lines.map((line) => [line.line, line]));
  return (
    sameMoment(body.checked_at, stored.checked_at) &&
    sameText(body.notes, stored.notes) &&
    body.lines.length === stored.lines.length &&
    body.lines.every((line) =>
      ["healthy", "damaged", "dead", "gone"].every((name) => line[name] === found.get(line.line)?.[name]),
    )
  );
}
