/* A box put down by hand as rows of a ledger's CSV file, and where its cells stand in the form. */

const OF_BOX = [
  "shipment",
  "seller",
  "service",
  "origin",
  "destination",
  "container",
  "roots",
  "heat_pack_hours",
  "heat_packs",
  "cold_packs",
  "ship_date",
  "arrival_date",
  "inside_temp_c",
  "inside_min_c",
  "inside_max_c",
  "currency",
];
const OF_LINE = ["genus", "cultivar", "sent", "healthy", "damaged", "dead", "unit_cost", "sale_value"];
const FIRST_ROW = 2; // the header is row 1

export const emptyRow = () => Object.fromEntries(OF_LINE.map((name) => [name, null]));

export const emptyBox = () => ({
  ...Object.fromEntries(OF_BOX.map((name) => [name, null])),
  service: "courier",
  container: "foam_box",
  roots: "damp_wrap",
  lines: [emptyRow()],
});

const cell = (value) => `"${String(value ?? "").replaceAll('"', '""')}"`;

/* The file: one row a line, every cell in quotes. */
export function csvOf(box) {
  const rows = box.lines.map((line) => [...OF_BOX.map((name) => box[name]), ...OF_LINE.map((name) => line[name])]);
  return [[...OF_BOX, ...OF_LINE], ...rows].map((row) => row.map(cell).join(",")).join("\r\n");
}

/* The pointer of the field of a cell at fault, {row, column}. */
export const columnPointer = ({ row, column }) =>
  OF_LINE.includes(column) ? `/lines/${row - FIRST_ROW}/${column}` : `/${column}`;
