/* Counting again about two weeks on: of the plants alive at arrival, how many are healthy, damaged, dead, gone. */

import { call } from "/page/api.js";
import { boxOf } from "/page/boxes/known.js";
import { timesForm } from "/page/boxes/times.js";
import { address, boxName, path, plantName } from "/page/boxes/words.js";
import { announce, el, newId } from "/page/dom.js";
import { field, showErrors } from "/page/fields.js";
import { entered, formKept, keepBox, keepEntered, waitingFor } from "/page/kept.js";
import { askOnce, failure } from "/page/notices.js";
import { refusalOf, send } from "/page/sending.js";
import { misreadQuestion, stepper } from "/page/stepper.js";
import { many } from "/page/plural.js";
import { aheadFaults, momentInput, nowTyped, toMoment, toTyped } from "/page/times.js";

const KIND = "recheck";
/* What was looked at sooner says nothing of late loss yet: recheck_earliest_days of the model's constants. */
export const EARLIEST_DAYS = 7;
const DAY_MS = 86_400_000;
const NAMES = { healthy: "Healthy", damaged: "Damaged", dead: "Dead", gone: "Sold or given away" };
const GIVERS = {
  healthy: ["damaged", "dead", "gone"],
  damaged: ["healthy", "gone", "dead"],
  dead: ["damaged", "healthy", "gone"],
  gone: ["healthy", "damaged", "dead"],
};

/* Counts with one of them set: what it gains is taken from the others in turn, what it loses goes to the first. */
export function withRecheck(counts, name, wanted) {
  const total = Object.keys(NAMES).reduce((sum, key) => sum + counts[key], 0);
  const next = { ...counts, [name]: Math.min(Math.max(Math.round(wanted) || 0, 0), total) };
  let gained = next[name] - counts[name];
  const [first] = GIVERS[name];
  if (gained < 0) next[first] -= gained;
  for (const giver of GIVERS[name]) {
    if (gained <= 0) break;
    const taken = Math.min(gained, next[giver]);
    next[giver] -= taken;
    gained -= taken;
  }
  return next;
}

export async function show(root, id, signal) {
  root.append(el("p", {}, "Loading …"));
  const { shipment, etag, item } = await boxOf(id, signal);
  const lines = shipment ? shipment.arrival?.lines : item.lines;
  if (!lines || (shipment ?? item).state !== "arrived") {
    root.replaceChildren(
      el("h1", {}, "Count again"),
      el("p", {}, "This box has not arrived: ", el("a", { href: address(id, "arrival") }, "unpack it first"), "."),
    );
    return;
  }
  const name = boxName({ reference: (shipment ?? item).reference, lines, ship_date: item?.ship_date });
  const entry = waitingFor(id, KIND);
  const alive = lines.filter((line) => (line.healthy ?? 0) + (line.damaged ?? 0) > 0);
  const form = entered(id, KIND) ?? formKept(entry) ?? fresh(alive, shipment?.recheck, etag);
  const openedAt = shipment ? (shipment.arrival.opened_at ?? shipment.arrival.arrival_date) : (item.opened_at ?? item.arrival_date);
  draw(root, { id, name, form, alive, entry, corrects: Boolean(shipment?.recheck), shipment, openedAt });
}

/* A question where a count comes too soon after the opening; null where it does not, or that is not known. */
function tooSoon(checkedAt, openedAt) {
  if (!checkedAt || !openedAt) return null;
  const passed = (new Date(checkedAt).getTime() - new Date(openedAt).getTime()) / DAY_MS;
  if (!(passed >= 0 && passed < EARLIEST_DAYS - 0.5)) return null;
  const after = passed < 1 ? "less than a day" : many(Math.floor(passed), "day");
  return `That is ${after} after opening, too soon to show injury by cold: a count helps from ${EARLIEST_DAYS} days on. Record it all the same?`;
}

/* Whether the counts are still those of the unboxing. */
const untouched = (form, alive) =>
  form.lines.every(({ healthy, damaged, dead, gone }, i) => {
    const before = alive[i];
    return healthy === (before?.healthy ?? 0) && damaged === (before?.damaged ?? 0) && dead === 0 && gone === 0;
  });

function fresh(alive, recheck, etag) {
  const before = new Map((recheck?.lines ?? []).map((line) => [line.line, line]));
  return {
    etag,
    checked_at: recheck?.checked_at ? toTyped(recheck.checked_at) : nowTyped(),
    notes: recheck?.notes ?? "",
    lines: alive.map(({ line, healthy, damaged }) => {
      const { healthy: h = healthy ?? 0, damaged: d = damaged ?? 0, dead = 0, gone = 0 } = before.get(line) ?? {};
      return { line, healthy: h, damaged: d, dead, gone };
    }),
  };
}

function draw(root, { id, name, form, alive, entry, corrects, shipment, openedAt }) {
  const place = el("div");
  const times = el("div");
  let asked = null;
  const button = el("button", { type: "submit", class: "main large" }, "Record the recheck");
  const changed = () => keepEntered(id, KIND, form);
  const names = new Map(alive.map((line) => [line.line, plantName(line)]));

  async function record(event) {
    event.preventDefault();
    const unread = misreadQuestion(formNode);
    if (unread) {
      place.replaceChildren(askOnce(unread, button));
      return;
    }
    const ahead = aheadFaults(form, ["checked_at"]);
    if (showErrors(formNode, ahead).length < ahead.length) return;
    const question =
      tooSoon(form.checked_at, openedAt) ??
      (!corrects && untouched(form, alive) ? "No count was changed. Are all plants still as they were at unboxing?" : null);
    if (question && question !== asked) {
      asked = question;
      place.replaceChildren(askOnce(question, button));
      return;
    }
    button.disabled = true;
    try {
      const body = { checked_at: toMoment(form.checked_at), notes: form.notes, lines: form.lines };
      const state = await send({ id, kind: KIND, name: `${name}, recheck`, body, etag: form.etag, form });
      if (!formNode.isConnected) return;
      if (state === "refused") refuse(waitingFor(id, KIND));
      else if (state === "waiting") announce("Kept on this device. It is sent once the server can be reached.");
      if (state !== "refused")
        location.hash =
          state === "conflict" ? address(id, "conflict", KIND) : state === "waiting" ? "#boxes" : address(id);
    } catch (fault) {
      place.replaceChildren(failure(fault));
    }
    button.disabled = false;
  }

  function refuse({ problem }) {
    const left = showErrors(formNode, problem.errors);
    place.replaceChildren(failure(refusalOf(problem), null, left));
    if (shipment && problem.errors.some(({ pointer }) => pointer === "/checked_at")) offerTimes();
  }

  /* The recheck is refused for its time: the opening on record may be the one that is wrong, and is corrected here. */
  function offerTimes() {
    const part = timesForm(shipment, async (body, words) => {
      const { data, headers } = await call("PATCH", path(id), { body, headers: { "If-Match": form.etag } });
      form.etag = headers.get("etag");
      openedAt = data.arrival?.opened_at ?? openedAt;
      keepBox(data, form.etag);
      times.replaceChildren(el("p", { role: "status" }, `${words} Record the recheck once more.`));
    });
    part.open = true;
    times.replaceChildren(part);
  }

  const notes = el("textarea", {
    maxlength: 4000,
    rows: 3,
    value: form.notes,
    on: {
      input: (event) => {
        form.notes = event.target.value;
        changed();
      },
    },
  });
  const formNode = el(
    "form",
    { class: "unboxing", novalidate: true, on: { submit: record } },
    el(
      "div",
      { class: "counting" },
      form.lines.map((line, i) => recheckCard(line, i, names.get(line.line) ?? `Line ${line.line}`, changed)),
    ),
    el(
      "div",
      { class: "fields" },
      field(
        "Counted on",
        momentInput(form.checked_at, (value) => {
          form.checked_at = value;
          changed();
        }),
        { pointer: "/checked_at" },
      ),
    ),
    field("Notes", notes, { pointer: "/notes", wide: true }),
    place,
    el("div", { class: "sticky" }, button),
  );
  root.replaceChildren(
    el("p", {}, el("a", { href: address(id) }, "Back to the box")),
    el("h1", { tabindex: "-1" }, `Count again: ${name}`),
    el(
      "p",
      {},
      form.lines.length
        ? "About two weeks after opening, since injury by cold shows late. Each line adds up to the plants that were alive at arrival."
        : "No plant was alive at arrival: there is nothing to count.",
    ),
    form.lines.length ? formNode : "",
    times,
  );
  if (entry?.state === "refused") refuse(entry);
}

function recheckCard(line, index, name, changed) {
  const inputs = {};
  const named = newId("counted");
  function set(which, wanted) {
    Object.assign(line, withRecheck(line, which, wanted));
    for (const [key, input] of Object.entries(inputs)) input.value = line[key];
    announce(
      `${name}: ${Object.entries(NAMES)
        .map(([key, word]) => `${line[key]} ${word.toLowerCase()}`)
        .join(", ")}`,
    );
    changed();
  }
  return el(
    "div",
    { class: "counted again", role: "group", "aria-labelledby": named },
    el("p", { class: "counted-name", id: named }, el("strong", {}, name)),
    Object.entries(NAMES).map(([which, word]) => {
      const { node, input } = stepper({
        kind: which,
        label: word,
        of: () => name,
        current: () => line[which],
        most: () => Object.keys(NAMES).reduce((sum, key) => sum + line[key], 0),
        change: (wanted) => set(which, wanted),
        pointer: `/lines/${index}/${which}`,
      });
      inputs[which] = input;
      return node;
    }),
  );
}
