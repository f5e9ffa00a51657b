"""Records that look wrong, each kept for the record as it was looked at: a correction or a confirmation ends it."""

from collections.abc import Sequence
from typing import NamedTuple

from sqlalchemy import ColumnElement, Connection, and_, bindparam, delete, func, insert, or_, select, update

from app.store.chunks import chunks
from app.store.schema import doubts, lines, model_versions, shipments
from app.store.shipments import ARRIVED


class FoundDoubt(NamedTuple):
    """A doubt about a shipment as it was looked at; `line` is a position, None for the shipment as a whole."""

    shipment: int
    corrected_revision: int
    line: int | None
    column: str
    code: str
    text: str
    chance: float | None


class OpenDoubt(NamedTuple):
    """A doubt that is neither confirmed nor overtaken by a correction, with what the shipment and its line are called.

    `number` is the shipment's; `shipment` is its reference, else its id.
    """

    number: int
    id: str
    shipment: str
    line: int | None
    genus: str | None
    column: str
    code: str
    text: str
    chance: float | None


class LookedAt(NamedTuple):
    """A shipment, the revision at which it was looked at, and the chance that it was lost whole; None: no counts."""

    number: int
    corrected_revision: int
    lost_chance: float | None


def replace_doubts(connection: Connection, looked_at: Sequence[LookedAt], found: Sequence[FoundDoubt]) -> None:
    """Write what was found of shipments, in a write transaction, in the place of what was found before.

    Shipments that were deleted meanwhile are passed over.
    """
    numbers = [one.number for one in looked_at]
    if looked_at:
        this = shipments.c.number == bindparam("its_number")
        change = update(shipments).where(this)
        change = change.values(checked_revision=bindparam("its_revision"), lost_chance=bindparam("its_chance"))
        rows = [dict(zip(("its_number", "its_revision", "its_chance"), one, strict=True)) for one in looked_at]
        connection.execute(change, rows)
    for part in chunks(numbers):
        connection.execute(delete(doubts).where(doubts.c.shipment.in_(part)))
        there = set(connection.execute(select(shipments.c.number).where(shipments.c.number.in_(part))).scalars())
        of_part = [doubt for doubt in found if doubt.shipment in there]
        rows = [{**doubt._asdict(), "position": position} for position, doubt in enumerate(of_part)]
        if rows:
            connection.execute(insert(doubts), rows)


def open_doubts(connection: Connection, numbers: Sequence[int] | None = None, *, limit: int) -> list[OpenDoubt]:
    """Return up to `limit` doubts, the newest shipments first; of these shipments, or of all."""
    found: list[OpenDoubt] = []
    for part in [None] if numbers is None else chunks(numbers):
        found += _open(connection, None if part is None else doubts.c.shipment.in_(part), limit)
    return sorted(found, key=lambda doubt: -doubt.number)[:limit]


def doubted_shipments(connection: Connection, columns: Sequence[str]) -> set[int]:
    """Return the numbers of the shipments of which one of these columns is doubted, not confirmed since nor mended."""
    query = select(doubts.c.shipment).select_from(doubts.join(shipments))
    return set(connection.execute(query.where(_is_open(), doubts.c.column.in_(columns))).scalars())


def confirmed_shipments(connection: Connection) -> set[int]:
    """Return the numbers of the shipments whose record, as it is, was confirmed."""
    query = select(shipments.c.number).where(shipments.c.confirmed_revision == shipments.c.corrected_revision)
    return set(connection.execute(query).scalars())


def unchecked_shipments(connection: Connection) -> list[int]:
    """Return the numbers of arrived shipments that nobody has looked at since they last changed, in their order."""
    checked = shipments.c.checked_revision
    new = or_(checked.is_(None), checked != shipments.c.corrected_revision)
    query = select(shipments.c.number).where(shipments.c.state == ARRIVED, new).order_by(shipments.c.number)
    return list(connection.execute(query).scalars())


def seen_revision(connection: Connection, version: str) -> int:
    """Return the revision of the ledger that a version of the model has seen; 0 for the rules of thumb."""
    query = select(model_versions.c.ledger_revision).where(model_versions.c.version == version)
    return connection.execute(query).scalar_one_or_none() or 0


def _is_open() -> ColumnElement[bool]:
    confirmed = shipments.c.confirmed_revision
    current = doubts.c.corrected_revision == shipments.c.corrected_revision
    return and_(current, or_(confirmed.is_(None), confirmed != shipments.c.corrected_revision))


def _open(connection: Connection, wanted: ColumnElement[bool] | None, limit: int) -> list[OpenDoubt]:
    of_line = and_(lines.c.shipment == doubts.c.shipment, lines.c.position == doubts.c.line)
    query = (
        select(
            shipments.c.number,
            shipments.c.id,
            func.coalesce(shipments.c.reference, shipments.c.id),
            doubts.c.line,
            lines.c.genus,
            doubts.c.column,
            doubts.c.code,
            doubts.c.text,
            doubts.c.chance,
        )
        .select_from(doubts.join(shipments).outerjoin(lines, of_line))
        .where(_is_open())
        .order_by(shipments.c.number.desc(), doubts.c.position)
        .limit(limit)
    )
    if wanted is not None:
        query = query.where(wanted)
    return [OpenDoubt(*row) for row in connection.execute(query)]
