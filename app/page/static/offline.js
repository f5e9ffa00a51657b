/* The page without a connection: it opens (a service worker keeps its files), and counts that wait are sent as soon as
   the server can be reached: at once, when the browser says it is connected, on the next visit, and now and then. */

import { announce, el } from "/page/dom.js";
import { waiting } from "/page/kept.js";
import { sendWaiting } from "/page/sending.js";

const AGAIN_MS = 30_000;
const PLACE = "waiting";

let timer = null;

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
          ? el("a", { href: `#boxes/${encodeURIComponent(entry.id)}/conflict/${entry.kind}` }, "Choose which counts stand")
          : el("a", { href: `#boxes/${encodeURIComponent(entry.id)}/${entry.kind}` }, "Look at the form"),
      ),
    ),
  );
  clearTimeout(timer);
  if (unsent.length) timer = setTimeout(sendWaiting, AGAIN_MS);
}

async function sendNow() {
  const before = waiting().filter(({ state }) => state === "waiting").length;
  await sendWaiting();
  const after = waiting().filter(({ state }) => state === "waiting").length;
  if (after && after === before) announce("The server cannot be reached yet. The counts stay on this device.");
  draw(); // also sets the next try
}

document.querySelector(".top").after(el("section", { id: PLACE, class: "notice", "aria-label": "Not yet sent", hidden: true }));
document.addEventListener("waiting-changed", draw);
document.addEventListener("box-sent", ({ detail }) => announce(`Sent: ${detail.name}.`));
addEventListener("online", sendNow);
document.addEventListener("visibilitychange", () => {
  if (document.visibilityState === "visible" && waiting().length) sendNow();
});
draw();
if (waiting().some(({ state }) => state === "waiting")) sendNow();

if ("serviceWorker" in navigator) {
  navigator.serviceWorker
    .register("/page/service-worker.js", { scope: "/", updateViaCache: "none" })
    .catch(() => {}); // the page works without, while there is a connection
}
