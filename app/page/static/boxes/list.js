/* All boxes, by what they are waiting for. */

import { get, NetworkDown } from "/page/api.js";
import { shortOutlook } from "/page/boxes/outlook.js";
import { claimWords, isClaimOpen, isRecheckDue, lateWords, recheckWords, toDo } from "/page/boxes/to_do.js";
import { address, boxName, CLAIM_WORDS, plantsOf, wayOf } from "/page/boxes/words.js";
import { el } from "/page/dom.js";
import { keepBoxes, knownAt, knownBoxes, waiting, waitingFor } from "/page/kept.js";
import { cautionList, failure } from "/page/notices.js";
import { count, date, moment, said, today } from "/page/settings.js";

const PAGE = 100;
const SHOWN = 12;
const OUTLOOKS = 8;
const DAY = { weekday: "short", day: "numeric", month: "short" };
const SECTIONS = [
  { state: "in_transit", heading: "On the way", none: "Nothing is on the way." },
  { state: "planned", heading: "Planned", none: "Nothing is planned." },
  { state: "arrived", heading: "Arrived", none: "Nothing has arrived yet." },
  { state: "lost", heading: "Lost", none: null },
];

/* Draw the list, and draw it anew as soon as counts kept here have been sent, also while it is still being read. */
export async function show(root, whole) {
  const run = runWithin(whole);
  const { signal } = run;
  const again = () => {
    run.abort();
    root.replaceChildren();
    show(root, whole);
  };
  document.addEventListener("box-sent", again, { once: true, signal });
  root.append(el("h1", {}, "Boxes"));
  const place = el("div", {}, el("p", {}, "Loading …"));
  root.append(place);
  let lists;
  let fault = null;
  try {
    lists = await Promise.all(
      SECTIONS.map(({ state }) => get(`/v1/shipments?state=${state}&limit=${PAGE}`, { signal })),
    );
    if (signal.aborted) return;
    keepBoxes(lists.flatMap(({ items }) => items));
  } catch (problem) {
    if (signal.aborted && !whole.aborted) return;
    if (!(problem instanceof NetworkDown)) throw problem;
    fault = problem;
    const known = Object.values(knownBoxes());
    lists = SECTIONS.map(({ state }) => ({
      items: known.filter((item) => item.state === state).sort(byArrival),
      next_cursor: null,
      cautions: [],
    }));
  }
  const all = lists.flatMap(({ items }) => items);
  place.replaceChildren(
    fault ? offlineNote(again, signal) : "",
    all.length || fault ? toDo(all, waiting(), { signal, connected: !fault }) : firstWords(),
    cautionList(lists[0].cautions, { said, date }),
    ...SECTIONS.map((section, i) => sectionOf(section, lists[i], signal, !fault)),
    el("div", { class: "actions" }, el("a", { class: "button", href: "#boxes/by-hand" }, "Enter a box that has arrived")),
    el(
      "p",
      { class: "hint" },
      "Boxes of earlier years come and go as a CSV file under ",
      el("a", { href: "#look-back" }, "Look back"),
      ".",
    ),
  );
}

/* The newest arrival first, as the server lists them; others stay as they are. */
const byArrival = (one, other) => (other.arrival_date ?? "").localeCompare(one.arrival_date ?? "");

/* One drawing of the list: ends by itself, and with the view. */
function runWithin(whole) {
  const run = new AbortController();
  if (whole.aborted) run.abort();
  whole.addEventListener("abort", () => run.abort(), { once: true, signal: run.signal });
  return run;
}

function offlineNote(again, signal) {
  addEventListener("online", again, { once: true, signal });
  return el(
    "div",
    { class: "notice", role: "status" },
    el(
      "p",
      {},
      `No connection. These are the boxes as they were ${knownAt() ? moment(knownAt()) : "last seen"}; they can be unpacked and counted, and the counts are sent later.`,
    ),
    el("button", { type: "button", on: { click: again } }, "Try again"),
  );
}

const firstWords = () =>
  el(
    "p",
    { class: "notice" },
    "No box yet. Compare routes, then plan the box you order: ",
    el("a", { href: "#compare" }, "Compare"),
    ".",
  );

function sectionOf({ state, heading, none }, { items, next_cursor: cursor }, signal, connected) {
  if (!items.length && !none) return "";
  const cards = el(
    "div",
    { class: "boxes" },
    items.slice(0, SHOWN).map((item, i) => card(item, connected && i < OUTLOOKS, signal)),
  );
  const total = `${count(items.length)}${cursor ? " or more" : ""}`;
  return el(
    "section",
    { "aria-labelledby": `boxes-${state}` },
    el("h2", { id: `boxes-${state}` }, heading, items.length ? el("span", { class: "hint" }, ` ${total}`) : null),
    items.length ? cards : el("p", { class: "hint" }, none),
    items.length > SHOWN || cursor ? moreButton(state, items.slice(SHOWN), cursor, cards, signal) : null,
  );
}

function moreButton(state, rest, cursor, cards, signal) {
  let [left, next] = [rest, cursor];
  const place = el("div");
  const button = el("button", { type: "button", on: { click: more } }, "Show more");
  async function more() {
    button.disabled = true;
    try {
      if (!left.length && next) {
        const answer = await get(`/v1/shipments?state=${state}&limit=${PAGE}&cursor=${encodeURIComponent(next)}`, {
          signal,
        });
        [left, next] = [answer.items, answer.next_cursor];
      }
      const added = left.slice(0, SHOWN).map((item) => card(item, false, signal));
      cards.append(...added);
      added[0]?.querySelector("a").focus();
      left = left.slice(SHOWN);
      if (!left.length && !next) button.remove();
    } catch (fault) {
      if (!signal.aborted) place.replaceChildren(failure(fault, more));
    }
    button.disabled = false;
  }
  place.append(button);
  return place;
}

function card(item, withOutlook, signal) {
  const { id, state, seller, lines } = item;
  return el(
    "article",
    { class: "box" },
    el("h3", {}, el("a", { href: address(id) }, boxName(item))),
    el("p", {}, plantsOf(lines), seller ? ` from ${seller}` : "", el("br"), el("span", { class: "hint" }, wayOf(item))),
    waitingFor(id, "arrival") || waitingFor(id, "recheck")
      ? el("p", { class: "flag" }, "Counts on this device are not sent yet.")
      : null,
    state === "planned" ? el("p", {}, `To leave ${date(item.ship_date)}.`) : null,
    state === "in_transit" || state === "lost"
      ? el("p", {}, `Left ${item.departed_at ? moment(item.departed_at) : date(item.ship_date)}.`)
      : null,
    item.late_since ? el("p", { class: "flag" }, `${lateWords(item)}.`) : null,
    state === "in_transit" && withOutlook && !waitingFor(id, "arrival") ? shortOutlook(id, lines, signal) : null,
    state === "arrived" ? arrivedWords(item) : null,
    state === "in_transit"
      ? el(
          "div",
          { class: "actions" },
          el("a", { class: "button main", href: address(id, "arrival") }, "Unpack and count"),
        )
      : null,
  );
}

function arrivedWords(item) {
  const sum = (name) => item.lines.reduce((total, line) => total + (line[name] ?? 0), 0);
  const known = item.lines.every((line) => line.healthy !== null && line.healthy !== undefined);
  const parts = [
    known ? `${count(sum("healthy"))} healthy of ${count(sum("sent"))}` : `${count(sum("sent"))} plants`,
    sum("damaged") ? `${count(sum("damaged"))} damaged` : null,
    sum("dead") ? `${count(sum("dead"))} dead` : null,
    sum("missing") ? `${count(sum("missing"))} missing` : null,
  ].filter(Boolean);
  const ahead = item.recheck_on > today() ? `Count again on ${date(item.recheck_on, DAY)}.` : null;
  const next = [isClaimOpen(item) ? `${claimWords(item)}.` : null, isRecheckDue(item) ? `${recheckWords(item)}.` : null];
  return el(
    "p",
    {},
    `Arrived ${date(item.arrival_date)}: ${parts.join(", ")}.`,
    item.claim ? ` Claim ${CLAIM_WORDS[item.claim.outcome]}.` : "",
    next.filter(Boolean).map((words) => [el("br"), el("strong", {}, words)]),
    ahead ? [el("br"), ahead] : null,
  );
}
