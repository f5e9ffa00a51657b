/* An answer that follows the form: asked a moment after the last change, older calls given up. */

import { foreignFaults } from "/page/amounts.js";
import { NetworkDown, Problem, post } from "/page/api.js";
import { announce, debounced, el } from "/page/dom.js";
import { bearableFaults, missing, requestOf } from "/page/batch.js";
import { showErrors } from "/page/fields.js";
import { lineFaults } from "/page/form_lines.js";
import { failure } from "/page/notices.js";

const PAUSE_MS = 200;

/* Return `changed`, to be called after every change of the draft.

   `form` and `answer` are elements; `ask()` gives {path, body, place, wanted} of the call, with `wanted` a list of what
   is still needed; `draw(data, body)` fills the answer and returns the one sentence to say, at `jump` (see `jumpTo`) and
   to a screen reader. */
export function live({ form, answer, jump, ask, draw, signal }) {
  let calling = new AbortController();
  let waits = false; // for the pause after a change: what stands there is no longer the answer
  const leave = () => calling.abort();
  signal.addEventListener("abort", leave);

  async function update() {
    if (signal.aborted) return;
    waits = false;
    calling.abort();
    calling = new AbortController();
    const own = calling.signal;
    const faults = [...lineFaults(), ...bearableFaults(), ...foreignFaults(form)];
    showErrors(form, faults);
    const { path, body, place, wanted } = ask();
    if (wanted.length || faults.length) {
      answer.replaceChildren(stillNeeded(form, wanted, faults));
      answer.removeAttribute("aria-busy");
      jump.say(wanted.length ? "" : answer.querySelector("p").textContent); // the answer stands below the form on a phone
      return;
    }
    answer.setAttribute("aria-busy", "true");
    try {
      const data = await answered(path, body, own);
      if (own.aborted) return;
      showErrors(form, []);
      const lead = draw(data, body, own);
      jump.say(lead);
      announce(lead);
    } catch (fault) {
      if (own.aborted || fault.name === "AbortError") return;
      if (!(fault instanceof Problem || fault instanceof NetworkDown)) console.error(fault);
      const placed = (fault.errors ?? []).map((error) => ({ ...error, pointer: place(error.pointer) }));
      const left = showErrors(form, placed);
      jump.say("");
      answer.replaceChildren(
        placed.length > left.length ? atFields(form, fault) : failure(fault, update, left),
        left.length && placed.length > left.length ? failure(fault, null, left) : "",
      );
    }
    if (!waits) answer.removeAttribute("aria-busy");
  }

  const later = debounced(update, PAUSE_MS);
  function changed() {
    waits = true;
    answer.setAttribute("aria-busy", "true");
    later();
  }
  return { changed, update };
}

/* The page asks for as many draws as look smooth; where that is too much, the server takes as many as fit. */
export async function answered(path, body, signal) {
  try {
    return await post(path, body, { signal });
  } catch (fault) {
    if (fault.code !== "too_much_work" || !body.draws) throw fault;
    const { draws: _asked, ...rest } = body;
    return post(path, rest, { signal });
  }
}

function goTo(input) {
  for (let around = input.closest("details"); around; around = around.parentElement.closest("details")) around.open = true;
  input.focus();
}

function stillNeeded(form, wanted, faults) {
  if (!wanted.length)
    return withWay(form, faults.length === 1 ? "One field needs a correction." : `${faults.length} fields need a correction.`);
  return el(
    "div",
    { class: "notice" },
    el("p", {}, "Still needed for an answer:"),
    el(
      "ul",
      {},
      wanted.map(({ pointer, text }) =>
        el(
          "li",
          {},
          el(
            "button",
            {
              type: "button",
              class: "link",
              on: {
                click: () => {
                  const input = form.querySelector(`[data-pointer="${pointer}"]`);
                  if (input) goTo(input);
                },
              },
            },
            text,
          ),
        ),
      ),
    ),
  );
}

const atFields = (form, fault) => withWay(form, `${fault.message} What would be right is said there.`);

/* What is wrong, with a way to the first field at fault. */
function withWay(form, text) {
  return el(
    "div",
    { class: "notice bad", role: "alert" },
    el("p", {}, text),
    el(
      "button",
      { type: "button", on: { click: () => form.querySelector("[aria-invalid]") && goTo(form.querySelector("[aria-invalid]")) } },
      "Go to the field",
    ),
  );
}

/* A bar at the foot of a phone with the answer in one sentence, that leads to the whole while that is out of sight:
   {link, say(text)}. */
export function jumpTo(answer) {
  const link = el("button", { type: "button", class: "jump", hidden: true, on: { click: go } });

  function go() {
    const lead = answer.querySelector("h2");
    lead?.scrollIntoView();
    lead?.focus();
  }

  let inSight = false;
  const place = () => (link.hidden = inSight || !link.textContent);
  new IntersectionObserver(([seen]) => {
    inSight = seen.isIntersecting;
    place();
  }, { rootMargin: "0px 0px -25% 0px" }).observe(answer);
  return {
    link,
    say(text) {
      link.textContent = text && `${text.split(";")[0]} ↓`; // the alternative stands where it leads
      place();
    },
  };
}

/* What `ask` of a live answer returns for the batch as it is, with more fields of the body. */
export const batchCall = (path, extra = {}) => {
  const { body, place } = requestOf();
  return { path, body: { ...body, ...extra }, place, wanted: missing() };
};
