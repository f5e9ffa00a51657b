"""The ledger as a CSV file, in and out, with every bad cell named.

Cells, checks and records only; what is stored is the store's.
"""

from app.ledger.csv_cells import FIRST_YEAR, LAST_YEAR, CellFault, DateOrder, number_cell
from app.ledger.csv_text import BrokenRow, CsvRow, read_table
from app.ledger.export import empty_csv, export_csv
from app.ledger.imports import import_checked, import_csv

__all__ = [
    "FIRST_YEAR",
    "LAST_YEAR",
    "BrokenRow",
    "CellFault",
    "CsvRow",
    "DateOrder",
    "empty_csv",
    "export_csv",
    "import_checked",
    "import_csv",
    "number_cell",
    "read_table",
]
