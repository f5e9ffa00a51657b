/* Labelled fields that know where they stand in a request, so that the server's errors find them.

   A field carries data-pointer, the JSON pointer of its value in the request. `showErrors` puts each error at the field
   of its pointer, or of the nearest field below or above it, and returns those that no field takes. `showAssumed` says
   at the fields left empty what the server took instead. */

import { el, newId } from "/page/dom.js";
import { decimalSign } from "/page/settings.js";

/* Wrap an input with its label and, beneath it, its hint and places for what is assumed and for an error. `unit` is text
   after the input; `describedBy` the id of a hint that several fields share. */
export function field(label, input, { pointer, hint, unit, hideLabel = false, wide = false, describedBy } = {}) {
  input.id ||= newId("field");
  const hintId = hint ? `${input.id}-hint` : null;
  const [assumedId, errorId] = [`${input.id}-assumed`, `${input.id}-error`];
  input.setAttribute("aria-describedby", [describedBy, hintId, assumedId, errorId].filter(Boolean).join(" "));
  if (pointer !== undefined) input.dataset.pointer = pointer;
  return el(
    "div",
    { class: `field${wide ? " wide" : ""}` },
    el("label", { for: input.id, class: hideLabel ? "unseen" : null }, label),
    el("span", { class: "entry" }, input.wrapper ?? input, unit ? el("span", { class: "unit" }, unit) : null),
    el(
      "div",
      { class: "beneath" },
      hint ? el("span", { id: hintId, class: "hint" }, hint) : null,
      el("span", { id: assumedId, class: "assumed" }),
      el("span", { id: errorId, class: "error" }),
    ),
  );
}

/* A text input for numbers: takes a decimal comma, and hands on what it cannot read so that the server says why.
   `read` is what reads it, such as those of amounts.js. */
export function numberInput(value, change, { read = readNumber, ...attributes } = {}) {
  return el("input", {
    type: "text",
    inputmode: "decimal",
    autocomplete: "off",
    size: 6,
    value: value ?? "",
    ...attributes,
    on: { input: (event) => change(read(event.target.value)), blur: (event) => settle(event.target, read) },
  });
}

/* Show the number that was read of "10 pcs" or "€ 60,-" once the field is left. */
function settle(input, read) {
  const value = read(input.value);
  if (typeof value === "number" && typeof readNumber(input.value) !== "number") input.value = value;
}

export function textInput(value, change, attributes = {}) {
  return el("input", {
    type: "text",
    autocomplete: "off",
    value: value ?? "",
    ...attributes,
    on: { input: (event) => change(event.target.value.trim() || null) },
  });
}

/* `options` is a list of [value, text]; the value null is sent as nothing. */
export function choice(value, options, change, attributes = {}) {
  const select = el(
    "select",
    { ...attributes, on: { change: (event) => change(options[event.target.selectedIndex][0]) } },
    options.map(([code, text]) => el("option", { value: code ?? "" }, text)),
  );
  select.selectedIndex = Math.max(options.findIndex(([code]) => code === value), 0);
  return select;
}

export function dateInput(value, change, attributes = {}) {
  return el("input", {
    type: "date",
    value: value ?? "",
    ...attributes,
    on: { input: (event) => change(event.target.value || null) },
  });
}

/* "8", "8.5", "8,5", "1 200", "€ 8" -> number; "" -> null; anything else as it is.

   A sign before three digits, as in "1,200", groups or divides as it does where the reader's settings say. */
export function readNumber(text) {
  const bare = text.trim().replace(/^[€$£¥]\s*|\s*[€$£¥%]$/g, "").replace(/[\s\u00a0\u202f']/g, "");
  if (bare === "") return null;
  const plain = withPoint(bare);
  return /^[+-]?(\d+\.?\d*|\.\d+)$/.test(plain) ? Number(plain) : text.trim();
}

function withPoint(bare) {
  const at = Math.max(bare.lastIndexOf("."), bare.lastIndexOf(","));
  if (at < 0) return bare;
  const sign = bare[at];
  const once = bare.indexOf(sign) === at;
  const inGroups = /^[+-]?[1-9]\d{0,2}([.,])\d{3}(\1\d{3})*$/.test(bare);
  if (inGroups && !(once && sign === decimalSign())) return bare.replaceAll(sign, "");
  const whole = bare.slice(0, at);
  if (!once || !/^[+-]?(\d*|\d{1,3}([.,]\d{3})+)$/.test(whole)) return bare;
  return `${whole.replace(/[.,]/g, "")}.${bare.slice(at + 1)}`;
}

export function clearErrors(container) {
  for (const input of container.querySelectorAll("[aria-invalid]")) {
    input.removeAttribute("aria-invalid");
    document.getElementById(`${input.id}-error`).textContent = "";
  }
}

/* Show errors at their fields; return those without one. */
export function showErrors(container, errors) {
  clearErrors(container);
  const inputs = [...container.querySelectorAll("[data-pointer]")];
  return errors.filter(({ pointer, message }) => {
    const input = fieldOf(inputs, pointer);
    if (!input) return true;
    for (let around = input.closest("details"); around; around = around.parentElement.closest("details"))
      around.open = true;
    input.setAttribute("aria-invalid", "true");
    const slot = document.getElementById(`${input.id}-error`);
    const words = input.dataset.share === undefined ? message : inPercent(message);
    slot.textContent = slot.textContent ? `${slot.textContent}; ${words}` : sentence(words);
    return false;
  });
}

/* Say at each field left empty what the server took instead, and at folded parts how many such there are. Returns the
   assumptions that no field takes. `assumed` is a list of {pointer, text, left}, `left` where it is simply left out. */
export function showAssumed(container, assumed) {
  const inputs = [...container.querySelectorAll("[data-pointer]")];
  for (const input of inputs) document.getElementById(`${input.id}-assumed`)?.replaceChildren();
  for (const folded of container.querySelectorAll("summary .taken")) folded.textContent = "";
  const left = assumed.filter(({ pointer, text, left: isLeft }) => {
    const slot = document.getElementById(`${inputs.find((input) => input.dataset.pointer === pointer)?.id}-assumed`);
    slot?.append(text);
    slot?.classList.toggle("left", Boolean(isLeft));
    return !slot;
  });
  for (const folded of container.querySelectorAll("summary .taken")) {
    const said = [...folded.closest("details").querySelectorAll(".assumed")].filter((slot) => slot.textContent);
    const left = said.filter((slot) => slot.classList.contains("left")).length;
    const counts = [
      [said.length - left, "assumed"],
      [left, "not counted"],
    ];
    const words = counts.filter(([n]) => n).map(([n, what]) => `${n} ${what}`);
    folded.textContent = words.length ? ` (${words.join(", ")})` : "";
  }
  return left;
}

/* "a number, 0 to 2" of a share, in the per cent of its field. */
const inPercent = (message) => message.replace(/\d+(?:\.\d+)?(?= to )|(?<= to )\d+(?:\.\d+)?/g, (n) => String(Number((100 * n).toFixed(6))));

const sentence = (message) => message.charAt(0).toUpperCase() + message.slice(1);

function fieldOf(inputs, pointer) {
  const exact = inputs.find((input) => input.dataset.pointer === pointer);
  if (exact || !pointer) return exact;
  const below = inputs.find((input) => input.dataset.pointer.startsWith(`${pointer}/`));
  return below ?? inputs.find((input) => pointer.startsWith(`${input.dataset.pointer}/`));
}
