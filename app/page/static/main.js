/* The page: one view at a time, chosen by the address after "#".

   Conventions
   - Address: "#compare", "#boxes", "#boxes/ID/arrival"; what follows the view's name reaches it as `parts`, decoded.
   - A view is a module in views/ with `title` (text for the tab; the view draws its own h1) and
     `show(root, parts, signal)`, which fills the empty `root` and may be async. `signal` aborts when the reader leaves
     the view or changes a setting: hand it to calls and listeners. A new view needs a line in VIEWS and nothing else; one with
     `within` is reached from another view and has no place of its own above.
   - Elements come from dom.js (`el`, `svg`), never from markup in strings. The policy forbids inline script and style:
     no style attribute, in SVG neither; use classes of the style sheets, or attributes such as width.
   - Calls go through api.js (`get`, `post`, `call`), which throws Problem or NetworkDown; `failure(fault, retry)` of
     notices.js draws either. Errors of fields: give each input a data-pointer by `field(...)` of fields.js, then
     `showErrors(form, problem.errors)`.
   - Numbers, money, dates and temperatures go through settings.js; answers are °C, and `said(text)` turns dates and
     temperatures inside the server's sentences into what the reader wants.
   - Lists of places, genera, packings and services come from lists.js; fields with suggestions from suggest.js.
   - The batch being put together is batch.js (`draft`, `requestOf`), kept in the browser; views share it. Planning a box
     of it is "#boxes/plan/N", N being the route's place in `draft().routes`: `requestOf(draft(), {only: N})` is its body.
   - Plots go through plot.js, their marks come from plot_marks.js, their colours from page.css. A table stands below
     every plot: nothing may be told by a plot, or by colour, alone.
   - Anything that changes without a click is said through `announce(text)` of dom.js, once and briefly.
   - Counts of boxes are kept and sent by kept.js and sending.js, so that none is lost without a connection; a new file of
     the page is kept for then without further ado.
   - Keys in localStorage begin with "transit.". No cookies. Nothing from elsewhere. */

import { el } from "/page/dom.js";
import { failure } from "/page/notices.js";
import { openSettings } from "/page/settings_dialog.js";
import "/page/offline.js";

const VIEWS = {
  compare: { name: "Compare", load: () => import("/page/views/compare.js") },
  order: { name: "Order", load: () => import("/page/views/order.js") },
  hold: { name: "Hold", load: () => import("/page/views/hold.js") },
  boxes: { name: "Boxes", load: () => import("/page/views/boxes.js") },
  "look-back": { name: "Look back", load: () => import("/page/views/look_back.js") },
  start: { name: "First steps", load: () => import("/page/views/start.js"), within: "compare" },
  sellers: { name: "Sellers", load: () => import("/page/views/sellers.js"), within: "look-back" },
};
const FIRST = "compare";

let leaving = new AbortController();

function address() {
  const [name, ...parts] = location.hash.replace(/^#\/?/, "").split("/").map(decodeURIComponent);
  return VIEWS[name] ? { name, parts } : { name: FIRST, parts: [] };
}

async function show({ focus }) {
  leaving.abort();
  leaving = new AbortController();
  const { signal } = leaving;
  const { name, parts } = address();
  for (const link of document.querySelectorAll("#views a")) {
    if (link.hash === `#${VIEWS[name].within ?? name}`) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
  }
  const main = document.getElementById("view");
  const root = el("div", { class: `view view-${name}` });
  try {
    const view = await VIEWS[name].load();
    if (signal.aborted) return;
    document.title = `${view.title} – Transit survival`;
    const wasInside = main.contains(document.activeElement);
    main.replaceChildren(root);
    if (focus || wasInside) main.focus({ preventScroll: true });
    if (focus) scrollTo(0, 0);
    await view.show(root, parts, signal);
  } catch (fault) {
    if (signal.aborted || fault.name === "AbortError") return;
    root.replaceChildren(el("h1", {}, VIEWS[name].name), failure(fault, () => show({ focus: true })));
    main.replaceChildren(root);
  }
}

document
  .getElementById("views")
  .append(
    ...Object.entries(VIEWS)
      .filter(([, view]) => !view.within)
      .map(([name, view]) => el("li", {}, el("a", { href: `#${name}` }, view.name))),
  );
document.querySelector(".skip").addEventListener("click", (event) => {
  event.preventDefault(); // the address names the view and must stay
  document.getElementById("view").focus();
});
document.getElementById("settings-open").addEventListener("click", openSettings);
addEventListener("hashchange", () => show({ focus: true }));
document.addEventListener("settings-changed", () => show({ focus: false }));
show({ focus: false });
