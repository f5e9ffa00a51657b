/* Compare. */

import { el } from "/page/dom.js";

export const title = "Compare";

export function show(root) {
  root.append(el("h1", {}, "Compare"));
}
