/* Boxes: not built yet. */

import { el } from "/page/dom.js";

export const title = "Boxes";

export function show(root) {
  root.append(el("h1", {}, "Boxes"));
}
