/* Order: how many of one kind, or what of a list? */

import { el } from "/page/dom.js";

export const title = "Order";

const QUESTIONS = [
  ["", "How many to order", () => import("/page/order/how_many.js")],
  ["what", "What to order", () => import("/page/order/what.js")],
];

/* "#order" asks how many, "#order/what" what. */
export async function show(root, [asked = ""], signal) {
  const [code, , load] = QUESTIONS.find(([name]) => name === asked) ?? QUESTIONS[0];
  await (await load()).show(root, signal);
  if (signal.aborted) return;
  root.querySelector("h1").after(
    el(
      "nav",
      { class: "questions", "aria-label": "Questions about an order" },
      QUESTIONS.map(([name, words]) =>
        el("a", { href: name ? `#order/${name}` : "#order", "aria-current": name === code ? "page" : null }, words),
      ),
    ),
  );
}
