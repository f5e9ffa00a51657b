/* What was found in a box, what to do with it, its recheck and its claim. */

import { foreignWords, readAmount } from "/page/amounts.js";
import { get } from "/page/api.js";
import { changeForm } from "/page/boxes/change_form.js";
import { calendarOf } from "/page/boxes/to_do.js";
import { address, CLAIM_WORDS, path, plantName } from "/page/boxes/words.js";
import { el } from "/page/dom.js";
import { choice, dateInput, field, numberInput } from "/page/fields.js";
import { tableOf } from "/page/plot.js";
import {
  count,
  date,
  days,
  money,
  moment,
  percent,
  said,
  temperature,
  temperatureSpan,
  today,
} from "/page/settings.js";
import { stacked } from "/page/stacked.js";

const DATED = new Set(["claim", "recheck"]);
const STEP_STATES = { ahead: "later", now: "now", past: "over", done: "done" };

const sum = (lines, name) => lines.reduce((total, line) => total + (line[name] ?? 0), 0);
const told = (value) => (value === null || value === undefined ? "–" : count(value));

export function arrivalSection(shipment, change, signal) {
  const { id, arrival, recheck, next_steps: steps, claim, plan } = shipment;
  // A step that is recorded and yet not done: counted before injury by cold can show.
  const early = Boolean(recheck) && steps.some(({ code, state }) => code === "recheck" && state !== "done");
  return el(
    "div",
    {},
    el("h2", {}, "What arrived"),
    el("p", { class: "lead" }, verdict(shipment)),
    el(
      "p",
      {},
      `Arrived ${arrival.arrived_at ? moment(arrival.arrived_at) : date(arrival.arrival_date)}`,
      arrival.opened_at && arrival.opened_at !== arrival.arrived_at ? `, opened ${moment(arrival.opened_at)}` : "",
      `, after ${days(arrival.transit_days)}.`,
      inside(arrival),
    ),
    el(
      "div",
      { class: "scroll", tabindex: "0", role: "region", "aria-label": "Table: counts at unboxing" },
      stacked(countTable(arrival.lines)),
    ),
    arrival.lost_whole_text ? el("p", {}, arrival.lost_whole_text) : null,
    arrival.notes ? el("p", {}, arrival.notes) : null,
    arrival.photos.length ? el("p", {}, `Photographs: ${arrival.photos.join(", ")}.`) : null,
    el(
      "div",
      { class: "actions" },
      el("a", { class: "button main", href: address(id, "claim") }, "Claim sheet"),
      el(
        "a",
        { class: "button", href: address(id, "recheck") },
        recheck && !early ? "Correct the recheck" : "Count again (recheck)",
      ),
      el("a", { class: "button", href: address(id, "arrival") }, "Correct these counts"),
    ),
    el("h2", {}, "Next steps"),
    el("p", { class: "hint" }, "Common practice, without a source, but where one is named."),
    el(
      "ol",
      { class: "steps" },
      steps.map((step) => stepItem(step)),
    ),
    steps.some((step) => DATED.has(step.code) && (step.state === "ahead" || step.state === "now"))
      ? calendarOf(id, shipment.reference ?? id, signal)
      : null,
    recheck ? recheckPart(recheck, arrival.lines, early) : null,
    el("h2", {}, "Outcome of the claim"),
    claim ? el("p", {}, claimWords(claim, plan?.currency)) : null,
    claimForm(shipment, change, signal),
  );
}

function verdict({ arrival, forecast }) {
  const { lines } = arrival;
  const counted = lines.every((line) => line.healthy !== null && line.healthy !== undefined);
  const parts = [
    `${told(sum(lines, "healthy"))} of ${told(sum(lines, "sent"))} plants ${counted ? "healthy" : "known to be healthy"}`,
    sum(lines, "damaged") ? `${told(sum(lines, "damaged"))} damaged` : null,
    sum(lines, "dead") ? `${told(sum(lines, "dead"))} dead` : null,
    arrival.missing ? `${told(arrival.missing)} missing` : null,
  ].filter(Boolean);
  const before = forecast?.plants;
  const expected = before
    ? ` The forecast was ${count(before.healthy.mean)} healthy of ${count(before.sent)} (${count(before.healthy.p05)} to ${count(before.healthy.p95)} in 9 of 10 cases).`
    : "";
  return `${parts.join(", ")}.${expected}`;
}

function inside({ logger_summary: logger, inside_temp_c: mean, inside_min_c: low, inside_max_c: high }) {
  if (logger)
    return ` Inside ${temperature(logger.mean_c, 1)} on average, ${temperatureSpan(logger.min_c, logger.max_c)}.`;
  const parts = [
    mean === null ? null : `${temperature(mean, 1)} on average`,
    low !== null && high !== null ? temperatureSpan(low, high) : null,
    low !== null && high === null ? `${temperature(low, 1)} at the lowest` : null,
    high !== null && low === null ? `${temperature(high, 1)} at the highest` : null,
  ].filter(Boolean);
  return parts.length ? ` Inside ${parts.join(", ")}.` : "";
}

const countTable = (lines) =>
  tableOf({
    head: ["Plant", "Healthy", "Damaged", "Dead", "Sent", "Ordered", "Missing"],
    rows: lines.map((line) => [
      line.note ? `${plantName(line)} (${line.note})` : plantName(line),
      ...["healthy", "damaged", "dead", "sent", "quantity", "missing"].map((name) => told(line[name])),
    ]),
  });

/* Where a step comes from; that most are common practice is said once, above them. */
const sourceOf = (status) => (status.startsWith("common practice") ? "" : ` ${status.charAt(0).toUpperCase()}${status.slice(1)}.`);

function stepItem({ text, until, state, status }) {
  return el(
    "li",
    { class: `step-${state}` },
    el("strong", {}, `${STEP_STATES[state]}: `),
    said(text),
    el("span", { class: "hint" }, ` Until ${moment(until)}.${sourceOf(status)}`),
  );
}

function recheckPart(recheck, lines, early) {
  const names = new Map(lines.map((line) => [line.line, plantName(line)]));
  return el(
    "section",
    { "aria-labelledby": "recheck" },
    el("h2", { id: "recheck" }, "Counted again"),
    el(
      "p",
      {},
      `${recheck.checked_at ? moment(recheck.checked_at) : date(recheck.recheck_date)}. `,
      recheck.late_loss_share === null
        ? ""
        : `${percent(recheck.late_loss_share)} of the plants that were alive at arrival and looked at again had died.`,
    ),
    early ? el("p", { class: "notice" }, "Counted too soon after opening to say anything of injury by cold: count again when it is due.") : null,
    el(
      "div",
      { class: "scroll", tabindex: "0", role: "region", "aria-label": "Table: counts at the recheck" },
      tableOf({
        head: ["Plant", "Healthy", "Damaged", "Dead", "Gone"],
        rows: recheck.lines.map((line) => [
          names.get(line.line),
          ...["healthy", "damaged", "dead", "gone"].map((name) => told(line[name])),
        ]),
      }),
    ),
    recheck.notes ? el("p", {}, recheck.notes) : null,
  );
}

const claimWords = ({ outcome, amount, settled_on: on }, currency) =>
  `Claim ${CLAIM_WORDS[outcome]}${amount === null ? "" : `, ${money(amount, currency ?? undefined)}`}${on ? `, ${date(on)}` : ""}.`;

/* A question where more came back than was claimed, as by a digit too many; else null. */
async function moreThanClaimed({ outcome, amount }, id, currency, signal) {
  if (outcome !== "refunded" || typeof amount !== "number" || !(amount > 0)) return null;
  const { total } = await get(path(id, "claim"), { signal });
  if (amount <= total) return null;
  const claimed = total > 0 ? `the ${money(total, currency)} claimed` : "what is claimed: nothing whose value is known";
  return `${money(amount, currency)} is more than ${claimed}. Is that right?`;
}

function claimForm({ id, claim, plan }, change, signal) {
  const form = {
    outcome: claim?.outcome ?? "refunded",
    amount: claim?.amount ?? null,
    settled_on: claim?.settled_on ?? today(),
  };
  const currency = plan?.currency ?? undefined;
  async function check() {
    const foreign = foreignWords(form.amount, currency);
    if (foreign) return { errors: [{ pointer: "/claim/amount", message: foreign }] };
    return { question: await moreThanClaimed(form, id, currency, signal) };
  }
  return el(
    "details",
    {},
    el("summary", {}, claim ? "Correct the outcome" : "Record how it ended"),
    changeForm(
      "Record",
      false,
      [
        field(
          "Outcome",
          choice(form.outcome, Object.entries(CLAIM_WORDS), (value) => (form.outcome = value)),
          { pointer: "/claim/outcome" },
        ),
        field(
          "Money got back",
          numberInput(form.amount, (value) => (form.amount = value), { read: (text) => readAmount(text, currency) }),
          { pointer: "/claim/amount" },
        ),
        field(
          "Settled on",
          dateInput(form.settled_on, (value) => (form.settled_on = value)),
          { pointer: "/claim/settled_on" },
        ),
      ],
      () => change({ claim: form }, "Recorded."),
      { check },
    ),
  );
}
