/* Counts that wait are sent one after another, each for the version of the box it was made for (If-Match).

   An answer may be lost after the server stored the counts. Sent again they are stale, so the box is read and compared:
   the same counts there means that they arrived. Nothing counted there yet means that only news of its journey came
   in between, and they are sent for the new version. Other counts there are a conflict, which the reader decides. */

import { call, NetworkDown, Problem } from "/page/api.js";
import { forgetEntered, forgetWaiting, keepBox, keepWaiting, waiting, waitingFor } from "/page/kept.js";
import { randomKey } from "/page/random_key.js";
import { isRecorded } from "/page/recorded.js";

const PATIENCE_MS = 20_000;
const LATER = new Set([401, 403, 408, 425, 429, 500, 502, 503, 504]);
const TRIES = 3;

/* Keep counts and try to send them; returns what became of them: "sent", "waiting", "conflict" or "refused". */
export async function send({ id, kind, name, body, form, etag }) {
  const made = { saved_at: new Date().toISOString(), token: randomKey() };
  const entry = { id, kind, name, body, form, etag, ...made, state: "waiting" };
  keepWaiting(entry);
  forgetEntered(id, kind); // what waits is what was entered
  await sendWaiting();
  return waitingFor(id, kind)?.state ?? "sent";
}

let running = Promise.resolve();

/* Send all that waits; one run at a time, over all tabs where the browser can see to that. */
export function sendWaiting() {
  const run = () => (navigator.locks ? navigator.locks.request("transit.sending", sendAll) : sendAll());
  running = running.then(run, run);
  return running;
}

async function sendAll() {
  for (const { id, kind } of waiting()) {
    const entry = waitingFor(id, kind);
    if (entry?.state !== "waiting") continue;
    try {
      await sendOne(entry);
    } catch (fault) {
      if (fault instanceof NetworkDown) return;
      if (!(fault instanceof Problem)) throw fault;
      if (LATER.has(fault.status)) replace(entry, { why: fault.message });
      else
        replace(entry, {
          state: "refused",
          problem: { message: fault.message, status: fault.status, errors: fault.errors },
        });
    }
  }
}

async function sendOne(entry) {
  let { etag } = entry;
  for (let left = TRIES; left > 0; left -= 1) {
    try {
      const { data, headers } = await call("PUT", `/v1/shipments/${encodeURIComponent(entry.id)}/${entry.kind}`, {
        body: entry.body,
        headers: { "If-Match": etag },
        signal: AbortSignal.timeout(PATIENCE_MS),
      });
      done(entry, data, headers.get("etag"));
      return;
    } catch (fault) {
      if (fault.status !== 412) throw fault;
    }
    const { data: shipment, headers } = await call("GET", `/v1/shipments/${encodeURIComponent(entry.id)}`, {
      signal: AbortSignal.timeout(PATIENCE_MS),
    });
    etag = headers.get("etag");
    keepBox(shipment, etag);
    const theirs = shipment[entry.kind];
    if (theirs && isRecorded(entry, theirs)) {
      done(entry, shipment, etag);
      return;
    }
    if (theirs) {
      replace(entry, { state: "conflict", theirs, their_etag: etag });
      return;
    }
  }
  replace(entry, { etag });
}

function done(entry, shipment, etag) {
  keepBox(shipment, etag);
  const now = waitingFor(entry.id, entry.kind);
  // Counts saved anew while these were on their way replace them.
  if (now && now.token !== entry.token) keepWaiting({ ...now, etag });
  else forgetWaiting(entry);
  document.dispatchEvent(new CustomEvent("box-sent", { detail: { id: entry.id, kind: entry.kind, name: entry.name } }));
}

function replace(entry, change) {
  const now = waitingFor(entry.id, entry.kind);
  if (now?.token === entry.token) keepWaiting({ ...now, ...change });
}

/* A conflict settled for what is kept here: it is sent for the version that was shown. */
export async function sendMine(entry) {
  const { theirs, their_etag: etag, ...own } = entry;
  keepWaiting({ ...own, etag, state: "waiting", token: randomKey() });
  await sendWaiting();
  return waitingFor(entry.id, entry.kind)?.state ?? "sent";
}

/* The conflict settled for what is stored. */
export function dropMine(entry) {
  forgetWaiting(entry);
  forgetEntered(entry.id, entry.kind);
}

/* What was kept of a refusal, as a Problem again. */
export const refusalOf = ({ status, message, errors }) => new Problem(status, { detail: message, errors });
