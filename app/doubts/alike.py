"""Slips that need no model: names misspelt, a box recorded twice, dates ahead, days that cannot be."""

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.doubts.journeys import LikelyJourneys
from app.records import MOST_AHEAD
from app.store import ArrivedBoxes, Coded, LineColumns, ShipmentColumns
from model.reference import CONSTANTS, Reference

Indices = NDArray[np.intp]

SPELLING, GENUS = "seller_spelling", "genus_spelling"
TWICE, AHEAD, TOO_FAST = "recorded_twice", "date_ahead", "too_fast"
DATES = ("ship_date", "arrival_date")
# More names than this are not compared pair by pair, nor with the table.
MOST_SELLERS = MOST_GENERA = 500
# Two dates without times: the days between them are known within one.
DATES_DAYS = 1.0


class PlainDoubt(NamedTuple):
    """A doubt about a shipment or a line of the ledger that is no matter of chance; `other` is what it is like."""

    shipment: int
    code: str
    column: str
    other: str
    line: int | None = None


def plain_doubts(
    ledger: ArrivedBoxes,
    names: Sequence[str],
    boxes: Indices,
    journeys: LikelyJourneys,
    reference: Reference,
    *,
    now: datetime | None,
) -> Iterator[PlainDoubt]:
    """Yield the doubts about some boxes of the ledger; `names` are those of all its shipments.

    Without `now` no date is held against it.
    """
    shipments, asked = ledger.shipments, set(boxes.tolist())
    for i, other in misspelt_sellers(shipments):
        if i in asked:
            yield PlainDoubt(i, SPELLING, "seller", other)
    for line, genus in misspelt_genera(ledger.lines, boxes, reference):
        yield PlainDoubt(int(ledger.lines.shipment[line]), GENUS, "genus", genus, line)
    for i, other_box in recorded_twice(ledger):
        if i in asked:
            yield PlainDoubt(i, TWICE, "shipment", names[other_box])
    for i in boxes.tolist():
        ahead = [] if now is None else [name for name in DATES if _is_ahead(getattr(shipments, name)[i], now)]
        if ahead and now is not None:
            yield PlainDoubt(i, AHEAD, ahead[0], str(now.date()))
        lane = journeys.lane(shipments, i)
        least = lane.service.min_days * lane.length_share()
        if journeys.days(shipments, i) + DATES_DAYS < least:
            yield PlainDoubt(i, TOO_FAST, "arrival_date", f"{least:.1f}")


def _is_ahead(day: np.datetime64, now: datetime) -> bool:
    return bool(day > np.datetime64(now.date() + MOST_AHEAD))


def misspelt_sellers(shipments: ShipmentColumns) -> Iterator[tuple[int, str]]:
    """Yield the first box under each name that looks like a more frequent one, with that name."""
    codes = shipments.seller.codes
    boxes = Counter(codes[codes >= 0].tolist())
    if len(boxes) > MOST_SELLERS:
        return
    frequent = sorted(boxes, key=lambda code: (-boxes[code], int(np.argmax(codes == code))))
    for place, code in enumerate(frequent):
        for other in frequent[:place]:
            if alike(shipments.seller.levels[code], shipments.seller.levels[other]):
                yield int(np.argmax(codes == code)), shipments.seller.levels[other]
                break


def misspelt_genera(lines: LineColumns, boxes: Indices, reference: Reference) -> Iterator[tuple[int, str]]:
    """Yield each line of some boxes whose genus is not in the table, but nearly, with the genus that is.

    Looking for the nearest one takes milliseconds a name, so names of other boxes are not looked at.
    """
    of_boxes = np.flatnonzero(np.isin(lines.shipment, boxes))
    codes = lines.genus.codes[of_boxes]
    looked_at = np.unique(codes)[:MOST_GENERA].tolist()
    nearest = {code: reference.find_genus(lines.genus.levels[code])[1] for code in looked_at}
    for line, code in zip(of_boxes.tolist(), codes.tolist(), strict=True):
        if (genus := nearest.get(code)) is not None:
            yield line, genus


def alike(one: str, other: str) -> bool:
    """Return whether two names look like spellings of one: apart from marks and spaces, word by word."""
    words, others = _words(one), _words(other)
    if "".join(words) == "".join(others) or sorted(words) == sorted(others):
        return True
    if len(words) != len(others):
        return False
    return all(_misspelt(a, b) for a, b in zip(words, others, strict=True))


def _words(name: str) -> list[str]:
    return "".join(letter if letter.isalnum() else " " for letter in name.casefold()).split()


def _misspelt(one: str, other: str) -> bool:
    if one == other:
        return True
    if any(letter.isdigit() for letter in one + other):
        return False
    # One letter in four, two in eight: "A" and "B" are no misspelling.
    allowed = min(min(len(one), len(other)) // CONSTANTS.misspelt_letters, CONSTANTS.misspelt_most_letters)
    return abs(len(one) - len(other)) <= allowed and edits(one, other) <= allowed


def edits(one: str, other: str) -> int:
    """Return how many letters were put in, left out, changed, or swapped with the next (Damerau 1964)."""
    before: list[int] = []
    last = list(range(len(other) + 1))
    for i, a in enumerate(one, start=1):
        row = [i]
        for j, b in enumerate(other, start=1):
            cost = min(last[j] + 1, row[j - 1] + 1, last[j - 1] + (a != b))
            if i > 1 and j > 1 and a == other[j - 2] and one[i - 2] == b:
                cost = min(cost, before[j - 2] + 1)
            row.append(cost)
        before, last = last, row
    return last[-1]


def recorded_twice(ledger: ArrivedBoxes) -> Iterator[tuple[int, int]]:
    """Yield each box that says the same as an earlier one, and that: places, dates, temperature, counts."""
    shipments, lines = ledger
    names = ("origin", "destination", "service", "seller", "ship_date", "arrival_date")
    columns = [_plain(getattr(shipments, name)) for name in names]
    columns.append([str(logged) for logged in shipments.inside_temp_c])  # as text, since NaN is no NaN's equal
    cells: defaultdict[int, list[tuple[object, ...]]] = defaultdict(list)
    of_line = [_plain(getattr(lines, name)) for name in ("genus", "cultivar", "sent", "healthy", "damaged", "dead")]
    for own, *row in zip(lines.shipment.tolist(), *of_line, strict=True):
        cells[own].append(tuple(row))
    first: dict[object, int] = {}
    for i, shipment in enumerate(zip(*columns, strict=True)):
        if cells[i]:
            said = (shipment, tuple(sorted(cells[i], key=repr)))
            if (other := first.setdefault(said, i)) != i:
                yield i, other


def _plain(column: Coded | NDArray[np.generic]) -> list[object]:
    plain: list[object] = (column.codes if isinstance(column, Coded) else column).tolist()
    return plain
