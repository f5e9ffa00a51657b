/* Finding a name that was spelt roughly. */

/* Small letters without accents. */
export const plain = (text) =>
  text
    .normalize("NFD")
    .replace(/\p{M}/gu, "")
    .toLowerCase()
    .trim();

/* Damerau-Levenshtein distance, neighbouring letters swapped counting once, or `limit` + 1 if it is more. */
export function distance(one, other, limit = 3) {
  if (Math.abs(one.length - other.length) > limit) return limit + 1;
  let before = [];
  let last = Array.from({ length: other.length + 1 }, (_, j) => j);
  for (let i = 1; i <= one.length; i += 1) {
    const row = [i];
    for (let j = 1; j <= other.length; j += 1) {
      const same = one[i - 1] === other[j - 1];
      row[j] = Math.min(last[j] + 1, row[j - 1] + 1, last[j - 1] + (same ? 0 : 1));
      if (i > 1 && j > 1 && one[i - 1] === other[j - 2] && one[i - 2] === other[j - 1])
        row[j] = Math.min(row[j], before[j - 2] + 1);
    }
    if (Math.min(...row) > limit) return limit + 1;
    [before, last] = [last, row];
  }
  return Math.min(last[other.length], limit + 1);
}

/* How many slips to forgive in a word. */
const forgiven = (word) => (word.length < 4 ? 0 : word.length < 7 ? 1 : 2);

/* Rank entries for what was typed: names that begin so, then words that do, then near spellings.

   `names(entry)` gives the names an entry goes by. Ties keep the order of the entries. */
export function ranked(entries, typed, names) {
  const text = plain(typed);
  if (!text) return [];
  const scored = [];
  for (const entry of entries) {
    let best = Infinity;
    for (const name of names(entry)) {
      const own = plain(name);
      if (own === text) best = Math.min(best, 0);
      else if (own.startsWith(text)) best = Math.min(best, 1);
      else if (own.split(/[\s-]+/).some((word) => word.startsWith(text))) best = Math.min(best, 2);
      else {
        // A beginning typed so far may hold the slip, so it is held against beginnings of its length.
        const slips = Math.min(
          distance(text, own, forgiven(text)),
          distance(text, own.slice(0, text.length), forgiven(text)),
          distance(text, own.slice(0, text.length + 1), forgiven(text)),
        );
        if (slips <= forgiven(text)) best = Math.min(best, 2 + slips);
      }
    }
    if (best < Infinity) scored.push([best, entry]);
  }
  return scored.sort((a, b) => a[0] - b[0]).map(([, entry]) => entry);
}

/* The entry that goes exactly by a name, whatever its case and accents. */
export const exactly = (entries, typed, names) =>
  entries.find((entry) => names(entry).some((name) => plain(name) === plain(typed)));
