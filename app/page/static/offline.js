/* The page without a connection: it opens (a service worker keeps its files), and counts that wait are sent as soon as
   the server can be reached: at once, when the browser says it is connected, on the next visit, and now and then. */

import { announce, el } from "/page/dom.js";
import { waiting } from "/page/kept.js";
import { sendWaiting } from "/page/sending.js";

const FIRST_AGAIN_MS = 3000;
const LAST_AGAIN_MS = 60_000;
const PLACE = "waiting";

let timer = null;
let wait = FIRST_AGAIN_MS;

/* Draw the strip that says what waits; empty and unseen where nothing does. */
function draw() {
  const place = document.getElementById(PLACE);
  const all = waiting();
  const unsent = all.filter(({ state }) => state === "waiting");
  const others = all.filter(({ state }) => state !== "waiting");
  place.hidden = all.length === 0;
  place.replaceChildren(
    unsent.length
      ? el(
          "p",
          {},
          `Kept on this device, not yet sent: ${unsent.map(({ name }) => name).join(", ")}. `,
          unsent.find(({ why }) => why)?.why ?? "It is sent once the server can be reached. ",
          " ",
          el("button", { type: "button", class: "small", on: { click: sendNow } }, "Send now"),
        )
      : "",
    ...others.map((entry) =>
      el(
        "p",
        {},
        entry.state === "conflict"
          ? `Counted twice: ${entry.name}. `
          : `Not accepted: ${entry.name}. ${entry.problem.message} `,
        entry.state === "conflict"
          ? el("a", { href: `#boxes/${encodeURIComponent(entry.id)}/conflict/${entry.kind}` }, "Choose which to keep")
          : el("a", { href: `#boxes/${encodeURIComponent(entry.id)}/${entry.kind}` }, "Look at the form"),
      ),
    ),
  );
  if (!unsent.length) wait = FIRST_AGAIN_MS;
}

const unsentNumber = () => waiting().filter(({ state }) => state === "waiting").length;

/* Try now, and again after a while that grows with each try in vain. */
async function tryAgain() {
  clearTimeout(timer);
  if (!unsentNumber()) return;
  await sendWaiting();
  clearTimeout(timer);
  timer = setTimeout(tryAgain, wait);
  wait = Math.min(2 * wait, LAST_AGAIN_MS);
}

async function sendNow() {
  wait = FIRST_AGAIN_MS;
  await tryAgain();
  if (unsentNumber()) announce("The server cannot be reached yet. The counts stay on this device.");
}

document
  .querySelector(".top")
  .after(el("section", { id: PLACE, class: "notice", "aria-label": "Not yet sent", hidden: true }));
document.addEventListener("waiting-changed", () => {
  draw();
  clearTimeout(timer);
  if (unsentNumber()) timer = setTimeout(tryAgain, wait);
});
document.addEventListener("box-sent", ({ detail }) => announce(`Sent: ${detail.name}.`));
addEventListener("online", tryAgain);
document.addEventListener("visibilitychange", () => {
  if (document.visibilityState === "visible" && unsentNumber()) tryAgain();
});
draw();
tryAgain();

if ("serviceWorker" in navigator) {
  navigator.serviceWorker.register("/page/service-worker.js", { scope: "/", updateViaCache: "none" }).catch(() => {}); // the page works without, while there is a connection
}
