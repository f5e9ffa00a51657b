/* Elements made by hand: text is always set as text, so nothing that was typed or answered can become markup. */

const SVG = "http://www.w3.org/2000/svg";
const AS_PROPERTY = new Set(["value", "checked", "selected", "disabled", "open", "hidden", "readOnly", "indeterminate"]);

function fill(node, attributes, children) {
  for (const [name, value] of Object.entries(attributes ?? {})) {
    if (name === "on") {
      for (const [event, listener] of Object.entries(value)) node.addEventListener(event, listener);
    } else if (value === null || value === undefined || value === false) {
      continue;
    } else if (AS_PROPERTY.has(name)) {
      node[name] = value;
    } else {
      node.setAttribute(name, value === true ? "" : String(value));
    }
  }
  node.append(...children.flat(Infinity).filter((child) => child !== null && child !== undefined && child !== false));
  return node;
}

/* el("p", {class: "note", on: {click: act}}, "text", otherNode, [more]) */
export function el(tag, attributes, ...children) {
  return fill(document.createElement(tag), attributes, children);
}

/* The same in SVG. No style attribute: the policy forbids it; use attributes or a class. */
export function svg(tag, attributes, ...children) {
  return fill(document.createElementNS(SVG, tag), attributes, children);
}

/* Put children, as `el` takes them, in the place of what a node holds. */
export function replace(node, ...children) {
  node.replaceChildren();
  fill(node, {}, children);
}

let counter = 0;

/* A new id, for label and aria references. */
export function newId(stem = "x") {
  counter += 1;
  return `${stem}-${counter}`;
}

/* Say something to a screen reader without moving the focus. */
export function announce(text) {
  document.getElementById("said").textContent = text;
}

/* Run `act` once calls have paused for so many milliseconds. */
export function debounced(act, wait) {
  let timer;
  return (...given) => {
    clearTimeout(timer);
    timer = setTimeout(() => act(...given), wait);
  };
}

/* Offer text as a file. */
export function download(name, text, type) {
  const address = URL.createObjectURL(new Blob([text], { type }));
  el("a", { href: address, download: name }).click();
  setTimeout(() => URL.revokeObjectURL(address), 1000);
}
