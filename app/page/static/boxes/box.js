/* One box: what is known of it, and what can be done next. */

import { call } from "/page/api.js";
import { arrivalSection } from "/page/boxes/arrived.js";
import { startChange } from "/page/boxes/change.js";
import { journeySection } from "/page/boxes/journey.js";
import { boxOf } from "/page/boxes/known.js";
import { outlookSection } from "/page/boxes/outlook.js";
import { address, boxName, path, plantName, plantsOf, STATE_WORDS, wayOf } from "/page/boxes/words.js";
import { announce, el } from "/page/dom.js";
import { boxDoubts, confirmRecord } from "/page/doubtful.js";
import { forgetBox, forgetEntered, keepBox, waitingFor } from "/page/kept.js";
import { boxLessons } from "/page/look_back/lessons.js";
import { cautionList, failure } from "/page/notices.js";
import { tableOf } from "/page/plot.js";
import { sellerAddress } from "/page/sellers/words.js";
import { count, date, days, money, percent, said } from "/page/settings.js";

export async function show(root, id, signal) {
  root.append(el("p", {}, "Loading …"));
  const { shipment, etag, item, fault } = await boxOf(id, signal);
  if (!shipment) {
    offline(root, item, fault);
    return;
  }
  draw(root, shipment, etag, signal);
  const again = ({ detail }) => {
    if (detail.id === id)
      boxOf(id, signal).then(
        (now) => now.shipment && draw(root, now.shipment, now.etag, signal),
        () => {},
      );
  };
  document.addEventListener("box-sent", again, { signal });
}

function offline(root, item, fault) {
  root.replaceChildren(
    backLink(),
    el("h1", {}, boxName(item)),
    el("p", {}, `${plantsOf(item.lines, 6)}. ${wayOf(item)}.`),
    el(
      "p",
      { class: "notice", role: "status" },
      `${fault.message} The box can be unpacked and counted; the counts are sent later.`,
    ),
    el(
      "div",
      { class: "actions" },
      el("a", { class: "button main", href: address(item.id, "arrival") }, "Unpack and count"),
    ),
  );
}

const backLink = () => el("p", {}, el("a", { href: "#boxes" }, "All boxes"));

function draw(root, shipment, etag, signal) {
  const { id, state, plan, forecast } = shipment;
  const place = el("div");
  const cautions = shipment.cautions.filter(({ code }) => code !== "doubtful_record"); // said above, with what to do
  const lines = shipment.arrival?.lines ?? plan?.lines ?? [];
  const facts = { reference: shipment.reference, lines, ship_date: plan?.ship_date };

  /* Draw the box as it is after a change, and say so. */
  function drawn({ data, headers }, words) {
    keepBox(data, headers.get("etag"));
    draw(root, data, headers.get("etag"), signal);
    announce(words);
    root.querySelector("h1").focus();
  }

  /* Send a change of the box. */
  async function change(body, words) {
    drawn(await call("PATCH", path(id), { body, headers: { "If-Match": etag }, signal }), words);
  }

  /* Take a step back that was recorded by mistake. */
  async function takeBack(step, words) {
    const answer = await call("POST", path(id, "take-back"), { body: { step }, headers: { "If-Match": etag }, signal });
    forgetEntered(id, "arrival");
    drawn(answer, words);
  }

  /* Its owner says that the record is right. */
  async function confirm() {
    drawn(await confirmRecord(id, etag, signal), "The record counts as right.");
  }

  async function remove() {
    try {
      await call("DELETE", path(id), { headers: { "If-Match": etag }, signal });
      forgetBox(id);
      announce("The plan is deleted.");
      location.hash = "#boxes";
    } catch (fault) {
      if (!signal.aborted) place.replaceChildren(failure(fault));
    }
  }

  root.replaceChildren(
    backLink(),
    el("h1", { tabindex: "-1" }, boxName(facts)),
    el(
      "p",
      {},
      plan ? wayOf({ ...plan, service: plan.routes[0].service }) : "Recorded after it had arrived",
      plan?.seller ? [", from ", el("a", { href: sellerAddress(plan.seller) }, plan.seller)] : null,
      plan || state !== "arrived" ? [": ", el("strong", {}, STATE_WORDS[state])] : null,
      ".",
    ),
    ["arrival", "recheck"].some((kind) => waitingFor(id, kind))
      ? el("p", { class: "flag" }, "Counts on this device are not sent yet.")
      : "",
    state === "in_transit" || state === "lost"
      ? el(
          "div",
          { class: "actions" },
          el(
            "a",
            { class: "button main", href: address(id, "arrival") },
            state === "lost" ? "It arrived after all: unpack" : "Unpack and count",
          ),
        )
      : "",
    el(
      "div",
      { class: "box-halves" },
      el(
        "div",
        {},
        state === "in_transit" ? outlookSection(id, signal) : null,
        boxDoubts(shipment.doubtful, id, confirm) || null,
        shipment.arrival ? arrivalSection(shipment, change, signal) : null,
        state === "planned" ? planSection(plan, forecast) : null,
      ),
      el(
        "div",
        {},
        boxLessons({ seller: plan?.seller, lines }, signal),
        journeySection(shipment, change, takeBack),
        plan && state !== "planned" ? planSection(plan, forecast) : null,
        cautions.length ? el("h2", {}, "Mind") : null,
        cautionList(cautions, { said, date }) || null,
      ),
    ),
    state === "planned" ? planActions(remove, () => startChange(shipment, boxName(facts))) : "",
    place,
  );
}

/* What can be done with a plan until the box has left. */
function planActions(remove, change) {
  const sure = el("button", { type: "button", hidden: true, on: { click: remove } }, "Yes, delete this plan");
  const first = el(
    "button",
    {
      type: "button",
      on: {
        click: () => {
          [first.hidden, sure.hidden] = [true, false];
          sure.focus();
        },
      },
    },
    "Delete the plan",
  );
  const anew = el("button", { type: "button", on: { click: change } }, "Change the plan");
  return el("div", { class: "actions" }, anew, first, sure);
}

function planSection(plan, forecast) {
  const { healthy, dead, sent, healthy_two_weeks: later } = forecast.plants;
  const span = ({ p05, p95 }) => `${count(p05)} to ${count(p95)}`;
  return el(
    "section",
    { "aria-labelledby": "the-plan" },
    el("h2", { id: "the-plan" }, "As planned"),
    el(
      "p",
      {},
      `To leave ${date(plan.ship_date)}, ${days(forecast.transit_days.p50)} on the way expected (${days(forecast.transit_days.p10)} to ${days(forecast.transit_days.p90)}). `,
      `Of ${count(sent)} plants ${count(healthy.mean)} healthy at unboxing (${span(healthy)})${later ? `, ${count(later.mean)} two weeks on (${span(later)})` : ""}, ${count(dead.mean)} dead (${span(dead)}). `,
      `Loss you can bear is kept to with ${percent(forecast.chance_loss_within_limit)}. Margin ${money(forecast.money.margin.mean, plan.currency ?? undefined)}.`,
    ),
    el(
      "div",
      { class: "scroll", tabindex: "0", role: "region", "aria-label": "Table: plants as planned" },
      tableOf({
        head: ["Plant", "Ordered", "Healthy expected"],
        rows: forecast.lines.map((line) => [
          plantName(line),
          count(line.quantity),
          `${count(line.healthy.mean)} (${span(line.healthy)})`,
        ]),
      }),
    ),
    el("p", { class: "hint" }, "Ranges hold in 9 of 10 cases."),
  );
}
