"""What the ledger holds of a shipment beyond its record: its plan, its journey, its arrival and what became of it."""

import json
from collections import defaultdict
from collections.abc import Sequence
from datetime import date, datetime
from typing import NamedTuple

from sqlalchemy import Connection, func, select

from app.store.chunks import chunks
from app.store.schema import events, forecasts, lines, logger_readings, shipments
from app.store.shipments import StoredShipment, read_shipment

OPEN_STATES = ("planned", "in_transit")


class JourneyEvent(NamedTuple):
    """Something that was heard of a box on its way."""

    at: datetime
    kind: str
    note: str


class Reading(NamedTuple):
    """One reading of a logger: when, and the air in the box, °C."""

    at: datetime
    inside_c: float


class OrderedLine(NamedTuple):
    """What a file cannot say of a line: how many were ordered (None where no plan says) and a note."""

    quantity: int | None
    note: str


class StoredPlan(NamedTuple):
    """A plan and its forecast, as JSON, as they were given."""

    plan_json: str
    model_version: str
    seed: int
    forecast_json: str


class ShipmentLife(NamedTuple):
    """A shipment with its times (UTC), notes, events and lines; `ordered` goes with the lines of its record.

    `lost_chance` is that of the record as it stands; None before it was looked at. Plan and logger are read apart
    (`read_plan`, `read_trace`): they are long.
    """

    stored: StoredShipment
    departed_at: datetime | None
    arrived_at: datetime | None
    opened_at: datetime | None
    rechecked_at: datetime | None
    arrival_notes: str
    photos: tuple[str, ...]
    recheck_notes: str
    claim_outcome: str | None
    claim_amount: float | None
    claim_settled_on: date | None
    confirmed_revision: int | None
    lost_chance: float | None
    created_at: datetime
    updated_at: datetime
    ordered: tuple[OrderedLine, ...]
    events: tuple[JourneyEvent, ...]


_COLUMNS = tuple(
    shipments.c[name]
    for name in (
        "number",
        *ShipmentLife._fields[1:5],
        "arrival_notes",
        "photos_json",
        "recheck_notes",
        "claim_outcome",
        "claim_amount",
        "claim_settled_on",
        "confirmed_revision",
        "checked_revision",
        "lost_chance",
        "created_at",
        "updated_at",
    )
)


def read_life(connection: Connection, shipment_id: str) -> ShipmentLife | None:
    """Return the shipment with this id, or None."""
    stored = read_shipment(connection, shipment_id)
    return None if stored is None else read_lives(connection, [stored])[0]


def read_lives(connection: Connection, stored: Sequence[StoredShipment]) -> list[ShipmentLife]:
    """Return the lives of up to some hundred shipments, in the same order."""
    numbers = [one.number for one in stored]
    ordered: defaultdict[int, list[OrderedLine]] = defaultdict(list)
    of_line = select(lines.c.shipment, lines.c.quantity, lines.c.note).where(lines.c.shipment.in_(numbers))
    for number, *cells in connection.execute(of_line.order_by(lines.c.shipment, lines.c.position)):
        ordered[number].append(OrderedLine(*cells))
    heard: defaultdict[int, list[JourneyEvent]] = defaultdict(list)
    of_event = select(events.c.shipment, events.c.at, events.c.kind, events.c.note)
    of_event = of_event.where(events.c.shipment.in_(numbers))
    for number, *cells in connection.execute(of_event.order_by(events.c.shipment, events.c.at, events.c.position)):
        heard[number].append(JourneyEvent(*cells))
    rows = {row.number: row for row in connection.execute(select(*_COLUMNS).where(shipments.c.number.in_(numbers)))}
    return [
        ShipmentLife(
            stored=one,
            departed_at=row.departed_at,
            arrived_at=row.arrived_at,
            opened_at=row.opened_at,
            rechecked_at=row.rechecked_at,
            arrival_notes=row.arrival_notes or "",
            photos=tuple(json.loads(row.photos_json or "[]")),
            recheck_notes=row.recheck_notes or "",
            claim_outcome=row.claim_outcome,
            claim_amount=row.claim_amount,
            claim_settled_on=row.claim_settled_on,
            confirmed_revision=row.confirmed_revision,
            lost_chance=row.lost_chance if row.checked_revision == one.corrected_revision else None,
            created_at=row.created_at,
            updated_at=row.updated_at,
            ordered=tuple(ordered[one.number]),
            events=tuple(heard[one.number]),
        )
        for one, row in ((one, rows[one.number]) for one in stored)
    ]


def read_plan(connection: Connection, number: int) -> StoredPlan | None:
    """Return plan and forecast of a shipment; None for one that was never planned here."""
    columns = (shipments.c.plan_json, forecasts.c.model_version, forecasts.c.seed, forecasts.c.answer_json)
    row = connection.execute(select(*columns).join(forecasts).where(shipments.c.number == number)).one_or_none()
    return None if row is None else StoredPlan(*row)


def read_plan_texts(connection: Connection, numbers: Sequence[int]) -> dict[int, str]:
    """Return the plans of shipments as JSON, by number; without those that were never planned here."""
    found: dict[int, str] = {}
    for part in chunks(numbers):
        query = select(shipments.c.number, shipments.c.plan_json).where(shipments.c.number.in_(part))
        found.update((number, plan) for number, plan in connection.execute(query) if plan is not None)
    return found


def read_trace(connection: Connection, number: int) -> list[Reading]:
    """Return the logger readings of a shipment, in order of time."""
    of = logger_readings.c
    query = select(of.at, of.inside_c).where(of.shipment == number).order_by(of.at)
    return [Reading(*row) for row in connection.execute(query)]


def count_without_outcome(connection: Connection, shipped_before: date) -> int:
    """Return how many shipments that were to leave before a day have neither arrived nor been given up."""
    query = select(func.count()).where(shipments.c.state.in_(OPEN_STATES), shipments.c.ship_date < shipped_before)
    n: int = connection.execute(query).scalar_one()
    return n
