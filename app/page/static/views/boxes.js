/* Boxes: planned, on the way, arrived; one box, and what is done with it. */

export const title = "Boxes";

const PARTS = {
  arrival: () => import("/page/boxes/unboxing.js"),
  recheck: () => import("/page/boxes/recheck.js"),
  claim: () => import("/page/boxes/claim.js"),
  conflict: () => import("/page/boxes/conflict.js"),
};

/* "#boxes", "#boxes/by-hand", "#boxes/plan/N", "#boxes/plan/N/2027-01-12", "#boxes/ID", "#boxes/ID/arrival", "#boxes/ID/conflict/arrival" and so on. */
export async function show(root, parts, signal) {
  const [id, part, ...rest] = parts;
  if (!id) return (await import("/page/boxes/list.js")).show(root, signal);
  if (id === "by-hand") return (await import("/page/boxes/by_hand.js")).show(root, signal);
  if (id === "plan") return (await import("/page/boxes/plan.js")).show(root, Number(part), rest[0], signal);
  const load = PARTS[part] ?? (() => import("/page/boxes/box.js"));
  return (await load()).show(root, id, signal, rest);
}
