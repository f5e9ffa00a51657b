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


def replace_doubts(
    connection: Connection, numbers: Sequence[int], revisions: Sequence[int], found: Sequence[FoundDoubt]
) -> None:
    """Write what was found of shipments, in a write transaction, in the place of what was found before.

    `revisions` are those of the records that were looked at. Shipments that were deleted meanwhile are passed over.
    """
    looked_at = [{"its_number": n, "looked_at": revision} for n, revision in zip(numbers, revisions, strict=True)]
    if looked_at:
        this = shipments.c.number == bindparam("its_number")
        connection.execute(update(shipments).where(this).values(checked_revision=bindparam("looked_at")), looked_at)
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
