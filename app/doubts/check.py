"""The check of records against everything else in the ledger, and its findings as they are kept and told."""

from collections.abc import Sequence
from datetime import datetime
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.doubts.alike import plain_doubts
from app.doubts.journeys import LikelyJourneys
from app.doubts.screening import CheckedRecords, screen
from app.doubts.words import doubt_words, plain_words
from app.schemas import Doubtful
from app.serving import Engine
from app.store import (
    ArrivedBoxes,
    Database,
    FoundDoubt,
    LookedAt,
    OpenDoubt,
    list_arrived_names,
    open_doubts,
    read_arrived,
    read_logger,
    read_plans,
    replace_doubts,
    seen_revision,
)
from model.predict import PosteriorDraws

# A caller waits for so many boxes, some seconds of one core; the next refit looks at all.
MOST_AT_ONCE = 100
MOST_LISTED = 500
# Looking at a box costs about ten times its part of a fit.
MOST_IN_A_REFIT = 300
# Boxes of a refit are looked at in pieces, for the memory of their draws.
PIECE = 200


class Told(NamedTuple):
    """What is to be kept of a check: the shipments looked at, and the doubts about them."""

    looked_at: list[LookedAt]
    doubts: list[FoundDoubt]


def find_doubts(
    recorded: CheckedRecords,
    names: Sequence[str],
    boxes: NDArray[np.intp],
    draws: PosteriorDraws,
    *,
    now: datetime | None,
) -> Told:
    """Look at some boxes of the ledger, ascending indices of its shipments.

    Parameters
    ----------
    recorded : CheckedRecords
    names : sequence of str
        Of all shipments of the ledger, in its order.
    boxes : (boxes,)
    draws : PosteriorDraws
        Fitted to the boxes that are `seen`, or the rules of thumb.
    now : datetime or None
        Dates ahead of it are doubted; None: they are not looked at.
    """
    ledger = recorded.ledger
    shipments, lines = ledger
    journeys = LikelyJourneys(shipments, draws.reference)
    found: list[FoundDoubt] = []
    lost: dict[int, float] = {}

    def note(i: int, line: int | None, column: str, code: str, text: str, chance: float | None) -> None:
        own = None if line is None else int(lines.position[line])
        number, revision = int(shipments.number[i]), int(shipments.corrected_revision[i])
        found.append(FoundDoubt(number, revision, own, column, code, text, chance))

    with_lines = boxes[np.isin(boxes, lines.shipment)]
    for start in range(0, len(with_lines), PIECE):
        screening = screen(recorded, with_lines[start : start + PIECE], draws, journeys)
        lost.update(zip(screening.index.tolist(), screening.lost.tolist(), strict=True))
        for doubt in screening.doubts:
            text = doubt_words(doubt, shipments, journeys)
            note(doubt.shipment, doubt.line, doubt.column, doubt.code, text, doubt.chance)
    for plain in plain_doubts(ledger, names, boxes, journeys, draws.reference, now=now):
        text = plain_words(plain, ledger, journeys)
        note(plain.shipment, plain.line, plain.column, plain.code, text, None)
    looked_at = [
        LookedAt(int(shipments.number[i]), int(shipments.corrected_revision[i]), lost.get(i)) for i in boxes.tolist()
    ]
    return Told(looked_at, found)


def boxes_of_a_refit(ledger: ArrivedBoxes, unchecked: Sequence[int]) -> NDArray[np.intp]:
    """Return the boxes that a refit looks at, ascending: those not looked at yet first, then the newest.

    A large ledger is so looked at in several refits; that of a small shop as a whole in each.
    """
    new = np.isin(ledger.shipments.number, unchecked)
    first = np.lexsort((-np.arange(len(new)), ~new))
    return np.sort(first[:MOST_IN_A_REFIT])


def check_shipments(database: Database, engine: Engine, numbers: Sequence[int], *, now: datetime | None) -> int:
    """Look at shipments by number, keep what is found, and return how many were left to the next refit.

    `now` as for `find_doubts`.

    Raises
    ------
    StoreUnavailable
        If the database cannot be used.
    """
    looked_at = sorted(numbers)[:MOST_AT_ONCE]
    with database.reading() as connection:
        ledger = read_arrived(connection)
        names = list_arrived_names(connection)
        logger, plans = read_logger(connection, looked_at), read_plans(connection, looked_at)
        seen = seen_revision(connection, engine.model_version) if engine.fit else 0
    recorded = CheckedRecords(ledger, logger, plans, seen_by(ledger, seen))
    boxes = np.flatnonzero(np.isin(ledger.shipments.number, looked_at))
    told = find_doubts(recorded, names, boxes, engine.draws, now=now)
    with database.writing() as connection:
        replace_doubts(connection, *told)
    return len(numbers) - len(looked_at)


def seen_by(ledger: ArrivedBoxes, revision: int) -> NDArray[np.bool_]:
    """Return which shipments, as they are, a fit to that revision of the ledger has seen, (shipments,)."""
    seen: NDArray[np.bool_] = ledger.shipments.corrected_revision <= revision
    return seen


def doubtful_records(database: Database, numbers: Sequence[int] | None = None) -> list[Doubtful]:
    """Return what is neither confirmed nor corrected, the newest shipments first; of these shipments, or of all.

    Raises
    ------
    StoreUnavailable
        If the database cannot be used.
    """
    found = database.read(lambda connection: open_doubts(connection, numbers, limit=MOST_LISTED))
    return [doubtful(doubt) for doubt in found or []]


def doubtful(doubt: OpenDoubt, row: int | None = None) -> Doubtful:
    """Return a doubt as it is answered; `row` is that of a file."""
    told = doubt._asdict()
    del told["number"]
    return Doubtful(**told, row=row)
