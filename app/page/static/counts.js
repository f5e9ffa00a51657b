/* Counts of one line at unboxing. Healthy, damaged and dead add up to what was sent, whatever is changed: what grows is
   taken from a better state first, what shrinks goes to the next one. */

export const STATES = ["healthy", "damaged", "dead"];
export const MOST = 100_000;

const DONORS = { healthy: ["damaged", "dead"], damaged: ["healthy", "dead"], dead: ["healthy", "damaged"] };
const TAKERS = { healthy: "damaged", damaged: "healthy", dead: "healthy" };

/* The counts of a line of which nothing is known yet: all healthy. */
export const freshCounts = (sent) => ({ sent, healthy: sent, damaged: 0, dead: 0 });

export const addsUp = ({ sent, healthy, damaged, dead }) => healthy + damaged + dead === sent;

/* The counts with one of them set to `wanted`, or as near to it as they can come. */
export function withCount(counts, name, wanted) {
  const value = Math.min(Math.max(Math.round(wanted) || 0, 0), MOST);
  const next = { ...counts };
  if (name === "sent") {
    next.sent = value;
    let over = counts.sent - value;
    if (over <= 0) next.healthy -= over;
    for (const state of STATES) {
      const taken = Math.min(Math.max(over, 0), next[state]);
      next[state] -= over > 0 ? taken : 0;
      over -= taken;
    }
    return next;
  }
  const target = Math.min(value, counts.sent);
  let change = target - counts[name];
  next[name] = target;
  if (change < 0) next[TAKERS[name]] -= change;
  for (const donor of DONORS[name]) {
    if (change <= 0) break;
    const taken = Math.min(change, next[donor]);
    next[donor] -= taken;
    change -= taken;
  }
  return next;
}

/* What a screen reader hears after a change. */
export const inWords = ({ sent, healthy, damaged, dead }) =>
  `${healthy} healthy, ${damaged} damaged, ${dead} dead of ${sent}`;
