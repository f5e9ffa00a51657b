"""What looking back asks of arrived boxes: the names of their plants, and which may have been lost whole."""

from typing import NamedTuple

from sqlalchemy import Connection, func, select

from app.store.schema import lines, shipments
from app.store.shipments import ARRIVED


class ArrivedPlant(NamedTuple):
    """A plant as it is written in arrived boxes, and in how many lines."""

    genus: str
    cultivar: str | None
    lines: int


class MaybeLost(NamedTuple):
    """An arrived box with the chance that it was lost whole; `shipment` is its reference, else its id."""

    id: str
    shipment: str
    seller: str | None
    chance: float


def arrived_plants(connection: Connection) -> list[ArrivedPlant]:
    """Return the plants of arrived boxes in all their spellings."""
    plant = (lines.c.genus, lines.c.cultivar)
    query = select(*plant, func.count()).select_from(lines.join(shipments))
    return [
        ArrivedPlant(*row) for row in connection.execute(query.where(shipments.c.state == ARRIVED).group_by(*plant))
    ]


def maybe_lost(connection: Connection, *, least: float, limit: int) -> list[MaybeLost]:
    """Return up to `limit` arrived boxes that were lost whole with at least that chance, the newest first.

    Only as their record stands: a corrected one counts once it has been looked at again.
    """
    name = func.coalesce(shipments.c.reference, shipments.c.id)
    query = select(shipments.c.id, name, shipments.c.seller, shipments.c.lost_chance).where(
        shipments.c.state == ARRIVED,
        shipments.c.checked_revision == shipments.c.corrected_revision,
        shipments.c.lost_chance >= least,
    )
    return [MaybeLost(*row) for row in connection.execute(query.order_by(shipments.c.number.desc()).limit(limit))]
