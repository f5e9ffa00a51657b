/* The settings, in a dialog. */

import { apiKey, setApiKey } from "/page/api.js";
import { currencyField } from "/page/currency_field.js";
import { el } from "/page/dom.js";
import { choice, field } from "/page/fields.js";
import { changeSettings, settings } from "/page/settings.js";

const LOCALES = [
  ["", "as this browser"],
  ["en-GB", "1 Feb 2027, 1,234.5 (en-GB)"],
  ["en-US", "Feb 1, 2027, 1,234.5 (en-US)"],
  ["de-DE", "1. Feb. 2027, 1.234,5 (de-DE)"],
  ["fr-FR", "1 févr. 2027, 1 234,5 (fr-FR)"],
  ["nl-NL", "1 feb 2027, 1.234,5 (nl-NL)"],
  ["sv-SE", "1 feb. 2027, 1 234,5 (sv-SE)"],
  ["ja-JP", "2027年2月1日, 1,234.5 (ja-JP)"],
];

export function openSettings() {
  const dialog = document.getElementById("settings");
  const wanted = { ...settings() };
  let key = apiKey();
  const currency = currencyField(wanted.currency);
  const units = [
    ["c", "°C"],
    ["f", "°F"],
  ];
  const form = el(
    "form",
    {
      method: "dialog",
      on: {
        submit: (event) => {
          event.preventDefault();
          const code = currency.read();
          if (!code) return;
          wanted.currency = code;
          setApiKey(key);
          dialog.close();
          changeSettings(wanted);
        },
      },
    },
    el("h2", { id: "settings-title" }, "Settings"),
    el("p", { class: "hint" }, "Kept in this browser only."),
    field("Temperatures in", choice(wanted.unit, units, (value) => (wanted.unit = value))),
    currency.node,
    field("Dates and numbers", choice(wanted.locale, LOCALES, (value) => (wanted.locale = value))),
    field(
      "Key",
      el("input", { type: "password", autocomplete: "off", value: key, on: { input: (e) => (key = e.target.value.trim()) } }),
      { hint: "Only where the server asks for one." },
    ),
    el(
      "div",
      { class: "actions" },
      el("button", { type: "submit", class: "main" }, "Keep"),
      el("button", { type: "button", on: { click: () => dialog.close() } }, "Cancel"),
    ),
  );
  dialog.replaceChildren(form);
  dialog.showModal();
}
