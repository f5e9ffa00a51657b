"""A CSV file as rows of text, whatever program wrote it: its encoding, its delimiter, its quotation marks."""

import codecs
import csv
import io
from collections.abc import Collection, Iterator
from typing import NamedTuple

DELIMITERS = (",", ";", "\t")
# What a row without cells may hold: delimiters other than the file's, where it has no header to tell them by.
BLANK = " \xa0\r\n" + "".join(DELIMITERS)
UTF16_MARKS = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
# A quotation mark that is not closed swallows what follows, up to the length of a cell that the parser takes.
MISPLACED_QUOTE = (
    "has a quotation mark out of place, or one that is not closed: quote a cell as a whole, and write a quotation "
    "mark inside it twice; this row and those after it were not read"
)


class CsvRow(NamedTuple):
    """A row that is not blank, by its number (the first of the file is 1, a row of several lines counts once)."""

    number: int
    cells: list[str]


class CsvTable(NamedTuple):
    """The rows of a file as far as they could be read; `broken_row` is where its quotation marks go wrong, if they do.

    The cells are as written.
    """

    rows: list[CsvRow]
    delimiter: str
    broken_row: int | None


def decode(data: bytes) -> str:
    """Return the text of a file: UTF-8, UTF-16 with its mark, else Windows-1252 and where that has no letter Latin-1.

    A byte-order mark is left out.
    """
    if data.startswith(UTF16_MARKS):
        return data.decode("utf-16", errors="replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        pass
    try:
        return data.decode("cp1252")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def delimiter_of(header: str, columns: Collection[str]) -> str:
    """Return the delimiter that finds the most of `columns` in the first line of a file; a comma where none does."""

    def n_found(delimiter: str) -> int:
        return len({name.strip(' "').casefold() for name in header.split(delimiter)} & set(columns))

    return max(DELIMITERS, key=n_found)


def read_table(data: bytes, columns: Collection[str]) -> CsvTable:
    """Return the rows of a file whose header should have `columns`."""
    text = decode(data)
    delimiter = delimiter_of(text.lstrip().partition("\n")[0].partition("\r")[0], columns)
    rows: list[CsvRow] = []
    reader = _rows(text, delimiter)
    while True:
        try:
            row = next(reader, None)
        except _BrokenRow as broken:
            return CsvTable(rows, delimiter, broken.number)
        if row is None:
            return CsvTable(rows, delimiter, None)
        rows.append(row)


class _BrokenRow(Exception):  # noqa: N818 - it carries a place
    def __init__(self, number: int) -> None:
        self.number = number
        super().__init__(number)


def _rows(text: str, delimiter: str) -> Iterator[CsvRow]:
    # Without a newline argument of "" the line breaks inside quoted cells would be changed.
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    number = 0
    try:
        for cells in reader:
            number += 1
            if "".join(cells).strip(BLANK):
                yield CsvRow(number, cells)
    except csv.Error:
        raise _BrokenRow(number + 1) from None
