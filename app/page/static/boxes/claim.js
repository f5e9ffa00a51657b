/* The claim sheet of a box: the server's page, shown here so that a key can open it, and printed as it is. */

import { call } from "/page/api.js";
import { address, path } from "/page/boxes/words.js";
import { announce, el } from "/page/dom.js";
import { stacked } from "/page/stacked.js";

const STYLES = [
  { href: "/page/print.css", media: "print" },
  { href: "/page/sheet.css", media: "print" },
];

export async function show(root, id, signal) {
  root.append(el("p", {}, "Loading …"));
  const { data } = await call("GET", path(id, "claim"), {
    headers: { Accept: "text/html, application/problem+json;q=0.5" },
    signal,
  });
  const sheet = new DOMParser().parseFromString(data, "text/html").querySelector("main");
  const article = el("article", { class: "sheet" }, [...sheet.childNodes]);
  await printAlone(signal);
  root.replaceChildren(
    el("p", { class: "screen" }, el("a", { href: address(id) }, "Back to the box")),
    el(
      "div",
      { class: "actions screen" },
      el("button", { type: "button", class: "main", on: { click: () => print() } }, "Print"),
      el("button", { type: "button", on: { click: () => copy(article) } }, "Copy the message"),
    ),
    article,
  );
  for (const table of article.querySelectorAll("table")) {
    const around = el("div", {
      class: "scroll",
      tabindex: "0",
      role: "region",
      "aria-label": `Table: ${table.previousElementSibling.textContent}`,
    });
    table.replaceWith(around);
    around.append(stacked(table));
  }
}

/* Print with the sheet's own style and nothing of the page around it, as long as this view is open; resolves once the
   style is there. */
async function printAlone(signal) {
  const own = [...document.querySelectorAll('link[rel="stylesheet"]')];
  const added = STYLES.map((style) => el("link", { rel: "stylesheet", ...style }));
  for (const link of own) link.media = "screen";
  const loaded = added.map(
    (link) =>
      new Promise((resolve) => {
        link.addEventListener("load", resolve);
        link.addEventListener("error", resolve); // printed plainly then
      }),
  );
  document.head.append(...added);
  signal.addEventListener("abort", () => {
    for (const link of own) link.media = "";
    for (const link of added) link.remove();
  });
  await Promise.all(loaded);
}

async function copy(article) {
  const draft = article.querySelector(".draft");
  try {
    await navigator.clipboard.writeText(draft.textContent);
    announce("Copied.");
  } catch {
    getSelection().selectAllChildren(draft); // where the clipboard is closed to pages, the reader copies
    announce("Selected: copy it now.");
  }
}
