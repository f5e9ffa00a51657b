"""A CSV file as rows of text, whatever program wrote it: its encoding, its delimiter, its quotation marks."""

import codecs
import csv
import io
import re
from collections.abc import Collection, Iterator
from typing import NamedTuple

DELIMITERS = (",", ";", "\t")
# What a row without cells may hold: delimiters other than the file's, where it has no header to tell them by.
BLANK = " \xa0\r\n" + "".join(DELIMITERS)
UTF16_MARKS = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
# The first line that some spreadsheets write, and read, to say what the delimiter is.
SEPARATOR = re.compile(r'"?sep=([,;\t])"?\s*', re.IGNORECASE)
BLOCK_BYTES = 2**20
# A row of a ledger has some hundreds of characters.
MOST_CHARACTERS = 2**18
MOST_ROWS = 1_000_000
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
    """A file's rows as they are read, the cells as written; `BrokenRow` is raised where they cannot be read on."""

    rows: Iterator[CsvRow]
    delimiter: str


class BrokenRow(Exception):  # noqa: N818 - it carries a place
    """A row that cannot be read, nor what comes after it; the text says why."""

    def __init__(self, number: int, message: str) -> None:
        """Take its number and what would be right."""
        self.number, self.message = number, message
        super().__init__(message)


def encoding_of(data: bytes) -> str:
    """Return the encoding of a file: UTF-8, UTF-16 with its mark, Windows-1252, or Latin-1 where that has no letter.

    A byte-order mark is no part of the text.
    """
    if data.startswith(UTF16_MARKS):
        return "utf-16"
    return next((name for name in ("utf-8-sig", "cp1252") if _decodes(data, name)), "latin-1")


def _decodes(data: bytes, encoding: str) -> bool:
    decoder = codecs.getincrementaldecoder(encoding)()
    view = memoryview(data)
    try:
        for start in range(0, len(data), BLOCK_BYTES):
            decoder.decode(view[start : start + BLOCK_BYTES])
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return False
    return True


def delimiter_of(header: str, columns: Collection[str]) -> str:
    """Return the delimiter that finds the most of `columns` in the first line of a file; a comma where none does."""

    def n_found(delimiter: str) -> int:
        return len({name.strip(' "').casefold() for name in header.split(delimiter)} & set(columns))

    return max(DELIMITERS, key=n_found)


def read_table(data: bytes, columns: Collection[str]) -> CsvTable:
    """Return the rows of a file whose header should have `columns`; it is read as they are taken."""
    # Without a newline argument of "" the line breaks inside quoted cells would be changed.
    text = io.TextIOWrapper(io.BytesIO(data), encoding_of(data), errors="replace", newline="")
    first = text.readline(MOST_CHARACTERS)
    if separator := SEPARATOR.fullmatch(first):
        # A spreadsheet that reads this line does not show it either: the header is its first row.
        return CsvTable(_rows(text, separator[1]), separator[1])
    text.seek(0)
    while first and not first.strip():
        first = text.readline(MOST_CHARACTERS)
    text.seek(0)
    delimiter = delimiter_of(first.strip(), columns)
    return CsvTable(_rows(text, delimiter), delimiter)


class _Lines:
    """The lines of a text, as long as a row is not too long; `n_characters` are those since it was set to 0."""

    def __init__(self, text: io.TextIOWrapper) -> None:
        self._text = text
        self.n_characters = 0

    def __iter__(self) -> "_Lines":
        return self

    def __next__(self) -> str:
        line = self._text.readline(MOST_CHARACTERS + 1)
        self.n_characters += len(line)
        if not line or self.n_characters > MOST_CHARACTERS:
            raise StopIteration
        return line


def _rows(text: io.TextIOWrapper, delimiter: str) -> Iterator[CsvRow]:
    lines = _Lines(text)
    reader = csv.reader(lines, delimiter=delimiter, strict=True)
    number = 0
    try:
        for cells in reader:
            number += 1
            if number > MOST_ROWS:
                raise BrokenRow(number, f"is one more than the {MOST_ROWS:,} that one file may have: split the file")
            lines.n_characters = 0
            if "".join(cells).strip(BLANK):
                yield CsvRow(number, cells)
    except csv.Error:
        if lines.n_characters <= MOST_CHARACTERS:
            raise BrokenRow(number + 1, MISPLACED_QUOTE) from None
    if lines.n_characters > MOST_CHARACTERS:
        raise BrokenRow(number + 1, f"is longer than {MOST_CHARACTERS:,} characters: this is no table of cells")
