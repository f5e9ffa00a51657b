/* Look back: not built yet. */

import { el } from "/page/dom.js";

export const title = "Look back";

export function show(root) {
  root.append(el("h1", {}, "Look back"));
}
