"""The faults of a CSV file, cell by cell, in the order of its rows."""

from app.ledger.csv_cells import AMBIGUOUS_DATE, AMBIGUOUS_SHORT_DATE
from app.problems import MAX_CELL_ERRORS, FieldError, InvalidCells, json_pointer
from app.records import FILE_COLUMNS

# Reading stops once there are so many.
MAX_FAULTS = 4 * MAX_CELL_ERRORS
# For programs that can ask their user.
CODES = dict.fromkeys((AMBIGUOUS_DATE, AMBIGUOUS_SHORT_DATE), "ambiguous_date")
PLACES = {name: place for place, name in enumerate(FILE_COLUMNS)}


class CsvFaults:
    """Collects faults found in any order; those that an answer can list are kept, the others counted."""

    def __init__(self) -> None:
        self._kept: list[tuple[int, int, str, str]] = []
        self._written: dict[tuple[int, str], str] = {}
        self.n_faults = 0

    def stands_in(self, row: int, column: str, written: str) -> None:
        """Have what is found of a cell told of the column that the file has it in."""
        self._written[row, column] = written

    @property
    def too_many(self) -> bool:
        """Whether so much is wrong that reading on would help nobody."""
        return self.n_faults >= MAX_FAULTS

    def add(self, row: int, column: str, message: str) -> None:
        """Note what would be right at a row, the header being 1, in a column; "" for the row as a whole."""
        self.n_faults += 1
        column = self._written.get((row, column), column)
        self._kept.append((row, PLACES.get(column, -1), column, message))
        if len(self._kept) > MAX_FAULTS:
            self._keep_first()

    def refuse(self, *, read_on: bool = True) -> None:
        """Raise the faults found; none, no error. `read_on`: whether the file was read to its end.

        Raises
        ------
        InvalidCells
            With the first `MAX_CELL_ERRORS` faults by row, then column.
        """
        if not self.n_faults:
            return
        self._keep_first()
        listed = [csv_fault(row, column or None, message) for row, _, column, message in self._kept]
        raise InvalidCells(listed, self.n_faults, read_on=read_on)

    def _keep_first(self) -> None:
        self._kept.sort()
        del self._kept[MAX_CELL_ERRORS:]


def csv_fault(row: int, column: str | None, message: str) -> FieldError:
    """Return a fault at a cell, or at a row; its pointer goes into the list of the rows, the header first."""
    pointer = json_pointer([row - 1] if column is None else [row - 1, column])
    return FieldError(pointer, message, row, column, CODES.get(message))
