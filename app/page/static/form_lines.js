/* The part of the form about the plants: one row a line, typed or pasted. */

import { amountInput, countInput, foreignWords } from "/page/amounts.js";
import { draft, emptyLine, keep, setAt } from "/page/batch.js";
import { announce, el } from "/page/dom.js";
import { field, showErrors, textInput } from "/page/fields.js";
import { genera } from "/page/lists.js";
import { distance, exactly, plain, ranked } from "/page/spelling.js";
import { isTable, joined, readLines, splitName } from "/page/spreadsheet.js";
import { settings } from "/page/settings.js";
import { suggest } from "/page/suggest.js";

const names = (genus) => [genus.genus, ...genus.names];

/* Faults of a line that the server need not be asked about, as [{pointer, message}]. */
export function lineFaults(batch = draft()) {
  const faults = [];
  batch.lines.forEach((line, i) => {
    const wrong = (name, message) => faults.push({ pointer: `/lines/${i}/${name}`, message });
    if (typeof line.quantity === "string" || (line.quantity !== null && !(Number.isInteger(line.quantity) && line.quantity >= 1)))
      wrong("quantity", "must be a whole number from 1");
    for (const name of ["unit_cost", "sale_value"])
      if ((typeof line[name] === "string" && !foreignWords(line[name])) || line[name] < 0) wrong(name, "must be an amount such as 8.50, from 0");
  });
  return faults;
}

export async function lineFields(changed) {
  const all = await genera();
  const isGenus = (word) => Boolean(exactly(all, word, names)) || (word.length > 4 && isNear(all, word));
  const rows = el("div", { class: "lines" });
  const undo = el("span");
  const section = el(
    "fieldset",
    {},
    el("legend", {}, "Plants"),
    el("p", { class: "hint" }, `Amounts in ${settings().currency}; another currency is chosen under Settings.`),
    rows,
    el("div", { class: "actions" }, el("button", { type: "button", on: { click: addLine } }, "Add a line"), undo),
    pasteBox(takeTable),
  );
  draw();
  return section;

  function addLine() {
    draft().lines.push(emptyLine());
    keep();
    draw();
    rows.lastElementChild.querySelector("input").focus();
  }

  function removeLine(i) {
    const [line] = draft().lines.splice(i, 1);
    if (!draft().lines.length) draft().lines.push(emptyLine());
    keep();
    draw();
    (rows.children[Math.min(i, rows.children.length - 1)].querySelector("input")).focus();
    announce(`Line ${i + 1} removed; “Undo” below the lines puts it back`);
    const back = () => putBack(line, i);
    undo.replaceChildren(el("button", { type: "button", on: { click: back } }, `Undo: put ${line.genus ?? `line ${i + 1}`} back`));
    changed();
  }

  function putBack(line, i) {
    const { lines } = draft();
    if (lines.length === 1 && Object.values(lines[0]).every((value) => value === null)) lines.pop();
    lines.splice(i, 0, line);
    keep();
    undo.replaceChildren();
    draw();
    rows.children[Math.min(i, rows.children.length - 1)].querySelector("input").focus();
    announce(`Line ${i + 1} is back`);
    changed();
  }

  function takeTable(text, at = 0) {
    const { lines, notes } = readLines(text, isGenus);
    if (lines.length) {
      const before = draft().lines.slice(0, at);
      draft().lines = [...before, ...lines].slice(0, 200);
      keep();
      draw();
      changed();
    }
    if (lines.length > 200) notes.push("Only 200 lines fit into one request.");
    return notes;
  }

  function draw() {
    rows.replaceChildren(...draft().lines.map((line, i) => row(line, i)));
    showErrors(section, lineFaults());
  }

  function row(line, i) {
    const set = (name) => (value) => {
      setAt(`/lines/${i}/${name}`, value);
      changed();
    };
    const own = (name, label, input, options) =>
      field(label, input, { pointer: `/lines/${i}/${name}`, ...options });
    const note = el("p", { class: "hint spelling" });
    const genus = suggest({
      value: line.genus,
      search: (text) =>
        ranked(all, text, names).map((entry) => ({ value: entry.genus, text: entry.genus, note: otherNames(entry) })),
      pick: (option) => {
        set("genus")(option.value);
        tellSpelling();
      },
      typed: (text) => {
        set("genus")(text.trim() || null);
        note.replaceChildren();
      },
      attributes: { placeholder: "such as Hoya" },
    });
    const cultivar = textInput(line.cultivar, set("cultivar"), { placeholder: "any" });
    genus.addEventListener("blur", () => {
      splitTyped();
      tellSpelling();
    });
    genus.addEventListener("paste", (event) => {
      const text = event.clipboardData.getData("text/plain");
      if (!isTable(text)) return;
      event.preventDefault();
      announce(takeTable(text, i).join(" "));
    });
    const drawn = el(
      "div",
      { class: "line", role: "group", "aria-label": `Line ${i + 1}` },
      own("genus", "Genus", genus),
      own("cultivar", "Cultivar", cultivar),
      own("quantity", "Plants", countInput(line.quantity, set("quantity"))),
      own("unit_cost", "Cost each", amountInput(line.unit_cost, set("unit_cost"))),
      own("sale_value", "Sells for", amountInput(line.sale_value, set("sale_value"))),
      el("button", { type: "button", class: "remove", "aria-label": `Remove line ${i + 1}`, on: { click: () => removeLine(i) } }, "✕"),
      note,
    );
    tellSpelling();
    return drawn;

    /* "Hoya carnosa" as a genus: the species goes before what stands as the cultivar. */
    function splitTyped() {
      const now = draft().lines[i];
      if (!now?.genus || exactly(all, now.genus, names)) return;
      const { genus: first, cultivar: rest } = splitName(now.genus);
      if (!rest || !exactly(all, first, names)) return;
      genus.value = first;
      cultivar.value = joined(rest, now.cultivar);
      setAt(`/lines/${i}/cultivar`, cultivar.value);
      set("genus")(first);
    }

    function tellSpelling() {
      const typed = draft().lines[i]?.genus;
      note.replaceChildren();
      if (!typed) return;
      const known = exactly(all, typed, names);
      if (known) {
        if (known.genus.toLowerCase() !== typed.toLowerCase()) note.append(`Answered as ${known.genus}.`);
        return;
      }
      const near = ranked(all, typed, names)[0];
      note.append(
        near
          ? `${typed} is not in the table of genera. `
          : `${typed} is not in the table of genera: answered as an unknown plant, so the answer is wider.`,
      );
      if (near)
        note.append(
          el(
            "button",
            {
              type: "button",
              class: "small",
              on: {
                click: () => {
                  genus.value = near.genus;
                  set("genus")(near.genus);
                  tellSpelling();
                  genus.focus();
                },
              },
            },
            `Use ${near.genus}`,
          ),
        );
    }
  }
}

/* Whether a word of a message is a genus spelt with a slip, beginning with the same letter. */
const isNear = (all, word) =>
  all.some(({ genus }) => genus[0].toLowerCase() === word[0].toLowerCase() && distance(plain(word), plain(genus), 1) <= 1);

const otherNames = (entry) => (entry.names.length ? `also ${entry.names.slice(0, 2).join(", ")}` : "");

function pasteBox(take) {
  const text = el("textarea", { rows: 5, spellcheck: "false" });
  const notes = el("p", { class: "hint", role: "status" });
  return el(
    "details",
    {},
    el("summary", {}, "Paste from a spreadsheet"),
    field("Cells", text, {
      hint:
        "Columns: genus, cultivar, plants, cost each, sells for. A header is recognised, also in another order. " +
        "A seller's message is read too: “10 x Hoya kerrii 14 USD”.",
      wide: true,
    }),
    el(
      "div",
      { class: "actions" },
      el(
        "button",
        {
          type: "button",
          on: {
            click: () => {
              notes.textContent = take(text.value).join(" ");
            },
          },
        },
        "Take these lines",
      ),
    ),
    notes,
  );
}
