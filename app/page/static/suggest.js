/* A text field with suggestions: a combobox with a list, by keyboard and for a screen reader as ARIA describes it. */

import { announce, el, newId } from "/page/dom.js";

const MOST = 8;

/* Return an input. `search(text)` gives [{value, text, note}], best first; `pick(option)` hears of a choice and
   `typed(text)` of everything typed. `input.wrapper` is what to put into the page. */
export function suggest({ value, search, pick, typed, attributes = {} }) {
  const listId = newId("options");
  let options = [];
  let active = -1;

  const listbox = el("ul", { id: listId, class: "options", role: "listbox", hidden: true });
  const input = el("input", {
    type: "text",
    role: "combobox",
    autocomplete: "off",
    autocapitalize: "off",
    spellcheck: "false",
    "aria-autocomplete": "list",
    "aria-expanded": "false",
    "aria-controls": listId,
    value: value ?? "",
    ...attributes,
    on: {
      input: () => {
        typed?.(input.value);
        refresh();
      },
      keydown: onKey,
      blur: close,
    },
  });
  input.wrapper = el("span", { class: "suggest" }, input, listbox);

  function refresh() {
    options = input.value.trim() ? search(input.value).slice(0, MOST) : [];
    active = -1;
    listbox.replaceChildren(
      ...options.map((option, i) =>
        el(
          "li",
          {
            id: `${listId}-${i}`,
            role: "option",
            "aria-selected": "false",
            on: {
              mousedown: (event) => {
                event.preventDefault();
                choose(i);
              },
            },
          },
          el("span", {}, option.text),
          option.note ? el("span", { class: "hint" }, ` ${option.note}`) : null,
        ),
      ),
    );
    open(options.length > 0);
    if (options.length) announce(`${options.length} suggestions`);
  }

  function open(is) {
    listbox.hidden = !is;
    input.setAttribute("aria-expanded", String(is));
    if (!is) input.removeAttribute("aria-activedescendant");
  }

  function close() {
    open(false);
    active = -1;
  }

  function move(step) {
    if (listbox.hidden) refresh();
    if (!options.length) return;
    active = (active + step + options.length + (active < 0 && step < 0 ? 1 : 0)) % options.length;
    [...listbox.children].forEach((item, i) => item.setAttribute("aria-selected", String(i === active)));
    input.setAttribute("aria-activedescendant", `${listId}-${active}`);
    listbox.children[active].scrollIntoView({ block: "nearest" });
  }

  function choose(i) {
    const option = options[i];
    input.value = option.text;
    close();
    pick(option);
  }

  function onKey(event) {
    if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      event.preventDefault();
      move(event.key === "ArrowDown" ? 1 : -1);
    } else if (event.key === "Enter" && active >= 0) {
      event.preventDefault();
      choose(active);
    } else if (event.key === "Escape" && !listbox.hidden) {
      event.preventDefault();
      close();
    } else if (event.key === "Tab" && active >= 0) {
      choose(active);
    }
  }

  return input;
}
