/* Tables of many columns on a phone: each row stands as a block of its own, its cells with the names of their columns. */

const LONG = 40; // characters of a cell that takes a whole row
const SHORT = 9; // of cells that stand three or more in a row

/* Have a table stack on a narrow screen; on a wide one nothing changes. Returns the table. */
export function stacked(table) {
  const heads = [...table.querySelectorAll("thead tr:first-child > *")].map((cell) => cell.textContent.trim());
  for (const row of table.querySelectorAll("tbody tr, tfoot tr")) {
    let column = 0;
    for (const cell of row.cells) {
      if (column > 0) cell.dataset.column = heads[column] ?? "";
      if (cell.textContent.length > LONG) cell.classList.add("long");
      if (!cell.textContent.trim()) cell.classList.add("empty");
      column += cell.colSpan;
    }
  }
  const cells = [...table.querySelectorAll("tbody td, tfoot td")].map((cell) => cell.textContent.trim().length);
  table.classList.add("stacked");
  if (cells.some((length) => length > SHORT)) table.classList.add("roomy");
  return table;
}
