"""The header of a ledger's CSV file: which column stands where."""

import re
from collections.abc import Sequence
from difflib import get_close_matches

from app.ledger.csv_faults import CsvFaults
from app.ledger.csv_text import CsvRow
from app.problems import MAX_TOKEN_CHARACTERS
from app.records import FAHRENHEIT_COLUMNS, FILE_COLUMNS, REQUIRED_COLUMNS

# Each unknown name is compared with all known ones.
MOST_COLUMNS = 200


def read_header(header: CsvRow, faults: CsvFaults) -> dict[str, int]:
    """Return the place of each column that the header names, its order and capital letters being free.

    Columns that are missing, unknown, misspelt or named twice are noted as faults.
    """
    cells = _without_blank_end(header.cells)
    places: dict[str, int] = {}
    if len(cells) > MOST_COLUMNS:
        faults.add(
            header.number, "", f"names {len(cells):,} columns, and {len(FILE_COLUMNS)} are known: delete the others"
        )
        return places
    names = [_name(cell) for cell in cells]
    if not set(names) & set(FILE_COLUMNS):
        faults.add(header.number, "", f"must name the columns: {','.join(REQUIRED_COLUMNS)}")
        return places
    missing = [name for name in FILE_COLUMNS if name not in names]
    misspelt = set()
    for place, name in enumerate(names):
        if name in places:
            faults.add(header.number, name, "stands twice in the header: delete one")
        elif name in FILE_COLUMNS:
            places[name] = place
        elif near := get_close_matches(name[:MAX_TOKEN_CHARACTERS], missing, n=1):
            meant = FAHRENHEIT_COLUMNS.get(near[0], near[0])
            misspelt.add(meant)
            faults.add(header.number, _shown(name), f"is not known here: did you mean {_either_unit(name, meant)}?")
        else:
            faults.add(header.number, _shown(name), f"is not known here: delete column {place + 1}")
    instead = {FAHRENHEIT_COLUMNS[name] for name in names if name in FAHRENHEIT_COLUMNS}
    for name in missing:
        if name in REQUIRED_COLUMNS and name not in misspelt | instead:
            faults.add(header.number, name, "is missing in the header")
    return places


def _either_unit(name: str, meant: str) -> str:
    """Return what a misspelt name may mean: of a temperature in the unit that it ends in, else in either."""
    units = {celsius: fahrenheit for fahrenheit, celsius in FAHRENHEIT_COLUMNS.items()}
    if meant not in units:
        return meant
    unit = name.rpartition("_")[2].lstrip("°")[:1]
    return {"c": meant, "f": units[meant]}.get(unit, f"{meant}, or {units[meant]}")


def _without_blank_end(cells: Sequence[str]) -> Sequence[str]:
    n = len(cells)
    while n and not cells[n - 1].strip():
        n -= 1
    return cells[:n]


def _name(cell: str) -> str:
    return re.sub(r"[\s-]+", "_", cell.strip().casefold())


def _shown(name: str) -> str:
    """Return a name that the file gives, unless it is longer than any that the header can have."""
    return name if len(name) <= MAX_TOKEN_CHARACTERS else ""
