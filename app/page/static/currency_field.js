/* The field of the currency: three letters, or the sign of one. What is neither is told, never cut to three letters. */

import { readCurrency } from "/page/amounts.js";
import { el } from "/page/dom.js";
import { field } from "/page/fields.js";

/* {node, read}: `read()` gives the three letters, or null where there are none, and says so at the field. */
export function currencyField(value) {
  const input = el("input", { type: "text", autocomplete: "off", size: 8, maxlength: 40, value });
  const node = field("Currency", input, { hint: "Three letters such as EUR; a label, nothing is converted." });

  function read() {
    const code = readCurrency(input.value);
    const slot = node.querySelector(".error");
    slot.textContent = code ? "" : "Write the three letters of one currency, such as EUR, GBP or USD.";
    if (code) {
      input.value = code;
      input.removeAttribute("aria-invalid");
    } else {
      input.setAttribute("aria-invalid", "true");
      input.focus();
    }
    return code;
  }
  return { node, read };
}
