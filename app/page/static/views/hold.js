/* Hold. */

import { el } from "/page/dom.js";

export const title = "Hold";

export function show(root) {
  root.append(el("h1", {}, "Hold"));
}
