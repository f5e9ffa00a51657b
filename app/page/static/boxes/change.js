/* Changing the plan of a box that has not left: the plan becomes the batch, is changed under Compare, and takes the
   place of the one on record. */

import { draft, emptyDraft, keep, takeDraft } from "/page/batch.js";

const LARGEST_PART = 20;

/* A share as a sentence says it: [1, 4] for 0.25. */
function partOf(share) {
  for (let of = 1; of <= LARGEST_PART; of += 1) {
    const lost = Math.round(share * of);
    if (Math.abs(lost / of - share) < 1e-9) return [lost, of];
  }
  return [Number((100 * share).toFixed(6)), 100];
}

/* The batch that is to be there again once the plan is changed: with all its routes, of which a plan has one. */
function batchBefore() {
  const { changes, ...batch } = draft();
  if (changes) return changes.before ?? null;
  return batch.origin && batch.lines.some(({ genus }) => genus) ? batch : null;
}

/* The plan of a shipment as a draft that knows which plan it changes. */
function draftOf({ id, reference, plan }, name) {
  const begun = emptyDraft();
  // A draft has the shape of a plan: what both have is taken over.
  const shared = Object.keys(begun).filter((key) => plan[key] !== undefined && plan[key] !== null);
  const copied = Object.fromEntries(shared.map((key) => [key, structuredClone(plan[key])]));
  const { max_loss_share: share, confidence } = plan.risk ?? {};
  const [lost, of] = share === undefined ? [begun.bearable.lost, begun.bearable.of] : partOf(share);
  const sure = confidence === undefined ? begun.bearable.sure : Number((10 * confidence).toFixed(6));
  return {
    ...begun,
    ...copied,
    lines: copied.lines.map((line) => ({ cultivar: null, ...line })),
    bearable: { lost, of, sure },
    changes: { id, reference, name, currency: plan.currency ?? null, before: batchBefore() },
  };
}

/* Begin to change the plan of a shipment; the batch so far is there again afterwards. */
export function startChange(shipment, name) {
  takeDraft(draftOf(shipment, name));
  location.hash = "#compare";
}

/* The plan that the draft changes: {id, reference, name, currency}, or null. */
export const changing = () => draft().changes ?? null;

/* What the link says that takes a way: in `usual` words, or while a plan is changed that it is changed to this. */
export const CHANGE_WORDS = "Change the plan to this";
export const planWords = (usual) => (changing() ? CHANGE_WORDS : usual);

/* The batch from before the change is there again; where there was none, the draft stays and changes no plan any more. */
export function endChange() {
  const { changes, ...rest } = draft();
  keep(rest);
  if (changes?.before) takeDraft(changes.before);
}
