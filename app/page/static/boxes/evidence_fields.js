/* What goes with the counts of a box: notes, names of photographs, a logger. `form` is changed in place, and
   `changed()` hears of it. */

import { el } from "/page/dom.js";
import { field, numberInput } from "/page/fields.js";
import { decimal, fromShown, toShown, unitName } from "/page/settings.js";

export function notesField(form, changed) {
  const input = el("textarea", {
    maxlength: 4000,
    rows: 3,
    value: form.notes,
    on: {
      input: (event) => {
        form.notes = event.target.value;
        changed();
      },
    },
  });
  return field("Notes", input, { pointer: "/notes", wide: true });
}

/* Names of photographs only: the pictures stay where they are. */
export function photosField(form, changed) {
  const list = el("ul", { class: "files" });
  const input = el("input", { type: "file", accept: "image/*,video/*", multiple: true, on: { change: take } });

  function take() {
    const names = [...input.files].map(({ name }) => name.slice(-120));
    form.photos = [...new Set([...form.photos, ...names])].slice(0, 200);
    input.value = "";
    changed();
    drawList();
  }

  function drawList() {
    list.replaceChildren(
      ...form.photos.map((name, i) =>
        el(
          "li",
          {},
          name,
          " ",
          el(
            "button",
            {
              type: "button",
              class: "small",
              "aria-label": `Take away ${name}`,
              on: {
                click: () => {
                  form.photos.splice(i, 1);
                  changed();
                  drawList();
                },
              },
            },
            "✕",
          ),
        ),
      ),
    );
  }

  drawList();
  return el(
    "div",
    {},
    field("Photographs and film", input, {
      pointer: "/photos",
      wide: true,
      hint: "Only their names are recorded, for the claim sheet; the pictures stay on your device.",
    }),
    list,
  );
}

export function loggerPart(form, changed) {
  const told = el("p", { class: "hint" }, form.logger_name ? `Readings: ${form.logger_name}.` : "");
  const file = el("input", {
    type: "file",
    accept: ".csv,text/csv",
    on: {
      change: async () => {
        const [chosen] = file.files;
        form.logger_csv = chosen ? await chosen.text() : null;
        form.logger_name = chosen?.name ?? null;
        told.textContent = chosen ? `Readings: ${chosen.name}.` : "";
        changed();
      },
    },
  });
  const summary = { inside_temp_c: "Mean inside", inside_min_c: "Lowest inside", inside_max_c: "Highest inside" };
  // Counts kept on the device by an earlier page know of the mean only.
  const known = (name) => form[name] ?? null;
  const degrees = (name) => {
    const shown = known(name) === null ? null : decimal(toShown(form[name]));
    const take = (value) => {
      form[name] = typeof value === "number" ? fromShown(value) : value;
      changed();
    };
    return field(summary[name], numberInput(shown, take), { pointer: `/${name}`, unit: unitName() });
  };
  return el(
    "details",
    { open: Boolean(form.logger_csv || Object.keys(summary).some((name) => known(name) !== null)) },
    el("summary", {}, "A logger was in the box"),
    el(
      "div",
      { class: "fields" },
      ...Object.keys(summary).map(degrees),
      field("Its readings", file, {
        pointer: "/logger_csv",
        hint: "A CSV file with the columns at and inside_c (°C); instead of the mean and the extremes.",
      }),
    ),
    told,
  );
}
