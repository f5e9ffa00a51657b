"""Forecasts stored with plans, and the boxes that they were about."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date, datetime
from typing import NamedTuple

from sqlalchemy import Connection, func, select

from app.store.chunks import chunks
from app.store.schema import forecasts, lines, shipments
from app.store.shipments import ARRIVED

LOST = "lost"


class CountedLine(NamedTuple):
    """What was found of a line; None where nobody counted."""

    position: int
    genus: str
    cultivar: str | None
    healthy: int | None
    damaged: int | None
    dead: int | None
    sent: int | None


class ForecastBox(NamedTuple):
    """An arrived shipment that has a forecast, as it is recorded now; `revision` counts its versions."""

    number: int
    id: str
    revision: int
    updated_at: datetime
    service: str
    ship_date: date
    departed_at: datetime | None
    arrived_at: datetime | None
    arrival_date: date
    opened_at: datetime | None
    forecast_at: datetime
    model_version: str
    lines: tuple[CountedLine, ...]


def read_forecast_boxes(connection: Connection) -> list[ForecastBox]:
    """Return the arrived shipments that have a forecast, in order of creation."""
    arrived = shipments.c.state == ARRIVED
    of_shipment: defaultdict[int, list[CountedLine]] = defaultdict(list)
    query = select(lines.c.shipment, *(lines.c[name] for name in CountedLine._fields))
    query = query.join(shipments).join(forecasts, forecasts.c.shipment == shipments.c.number).where(arrived)
    for number, *cells in connection.execute(query.order_by(lines.c.shipment, lines.c.position)):
        of_shipment[number].append(CountedLine(*cells))
    columns = [shipments.c[name] for name in ForecastBox._fields if name in shipments.c]
    boxes = select(*columns, forecasts.c.created_at, forecasts.c.model_version).join(forecasts).where(arrived)
    rows = connection.execute(boxes.order_by(shipments.c.number))
    return [ForecastBox._make((*row, tuple(of_shipment[row.number]))) for row in rows]


def read_forecasts(connection: Connection, numbers: Sequence[int]) -> dict[int, str]:
    """Return the forecasts of shipments as JSON, by number."""
    found: dict[int, str] = {}
    for part in chunks(numbers):
        query = select(forecasts.c.shipment, forecasts.c.answer_json).where(forecasts.c.shipment.in_(part))
        found.update((number, answer) for number, answer in connection.execute(query))
    return found


def count_lost_forecasts(connection: Connection) -> int:
    """Return how many shipments with a forecast were lost."""
    query = select(func.count()).select_from(shipments).join(forecasts).where(shipments.c.state == LOST)
    n: int = connection.execute(query).scalar_one()
    return n
