"""Shipments planned, changed and deleted, each in the write transaction of its caller."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, delete, insert, or_, select, update

from app.records import FITTED_COLUMNS, LineRecord, ShipmentRecord, differing_columns
from app.store.history import keep_versions
from app.store.revisions import next_revision, reserve_numbers
from app.store.schema import events, forecasts, lines, logger_readings, shipments
from app.store.sellers import ensure_sellers
from app.store.shipment_life import JourneyEvent, OrderedLine, Reading, StoredPlan, read_trace
from app.store.shipments import ARRIVED, StoredShipment, new_id, read_shipment, sellers_of, shipment_values

PLANNED = "planned"
# The times of a journey that the fit reads beside the columns of the record.
FITTED_TIMES = ("departed_at", "opened_at")
LIFE_COLUMNS = frozenset(
    {
        "state",
        "ship_date",
        "departed_at",
        "arrival_date",
        "arrived_at",
        "opened_at",
        "inside_temp_c",
        "inside_min_c",
        "inside_max_c",
        "recheck_date",
        "rechecked_at",
        "arrival_notes",
        "photos_json",
        "recheck_notes",
        "claim_outcome",
        "claim_amount",
        "claim_settled_on",
        "confirmed_revision",
        "arrived_revision",
        "corrected_revision",
    }
)
"""The columns of a shipment that change after it was planned."""


@dataclass(frozen=True, slots=True)
class ShipmentChange:
    """What a change writes; None leaves lines or logger readings as they are.

    `values` go to `LIFE_COLUMNS`, `lines` and `readings` replace those recorded, `heard` is added to the events,
    `forgotten` taken from them.
    """

    values: Mapping[str, Any] = field(default_factory=dict)
    lines: Sequence[tuple[LineRecord, OrderedLine]] | None = None
    heard: Sequence[JourneyEvent] = ()
    readings: Sequence[Reading] | None = None
    forgotten: Sequence[JourneyEvent] = ()


def reference_taken(connection: Connection, reference: str) -> bool:
    """Whether a shipment goes by a name already, be it as its reference or, lacking one, as its id."""
    query = select(shipments.c.number).where(or_(shipments.c.reference == reference, shipments.c.id == reference))
    return connection.execute(query.limit(1)).first() is not None


def add_planned(
    connection: Connection,
    record: ShipmentRecord,
    quantities: Sequence[int],
    plan: StoredPlan,
    *,
    reference: str | None,
    now: datetime,
) -> str:
    """Add a planned shipment with its forecast, and return its id; the name in the record is not looked at."""
    ensure_sellers(connection, sellers_of([record]), now)
    next_revision(connection)
    (number,) = reserve_numbers(connection, 1)
    shipment_id = new_id()
    row = {
        **_planned_values(record, plan, reference, now),
        "number": number,
        "id": shipment_id,
        "state": PLANNED,
        "revision": 1,
        "created_at": now,
    }
    connection.execute(insert(shipments).values(row))
    _write_planned(connection, number, record, quantities, plan, now)
    return shipment_id


def replace_plan(
    connection: Connection,
    stored: StoredShipment,
    record: ShipmentRecord,
    quantities: Sequence[int],
    plan: StoredPlan,
    *,
    reference: str | None,
    now: datetime,
) -> None:
    """Give a planned shipment another plan and the forecast of it, and keep its present version."""
    ensure_sellers(connection, sellers_of([record]), now)
    keep_versions(connection, [stored.number], reason="plan", now=now)
    next_revision(connection)
    row = {**_planned_values(record, plan, reference, now), "revision": stored.revision + 1}
    connection.execute(update(shipments).where(shipments.c.number == stored.number).values(row))
    for table in (lines, forecasts):
        connection.execute(delete(table).where(table.c.shipment == stored.number))
    _write_planned(connection, stored.number, record, quantities, plan, now)


def _planned_values(record: ShipmentRecord, plan: StoredPlan, reference: str | None, now: datetime) -> dict[str, Any]:
    return {**shipment_values(record), "reference": reference, "plan_json": plan.plan_json, "updated_at": now}


def _write_planned(
    connection: Connection,
    number: int,
    record: ShipmentRecord,
    quantities: Sequence[int],
    plan: StoredPlan,
    now: datetime,
) -> None:
    ordered = [OrderedLine(quantity, "") for quantity in quantities]
    _write_lines(connection, number, list(zip(record.lines, ordered, strict=True)))
    forecast = {
        "shipment": number,
        "model_version": plan.model_version,
        "seed": plan.seed,
        "answer_json": plan.forecast_json,
        "created_at": now,
    }
    connection.execute(insert(forecasts).values(forecast))


def change_shipment(
    connection: Connection, stored: StoredShipment, change: ShipmentChange, *, reason: str, now: datetime
) -> None:
    """Change a shipment and keep its present version.

    The revision that last changed what the fit reads moves where a column of the record that it reads, its times or
    its logger's readings differ.
    """
    assert change.values.keys() <= LIFE_COLUMNS  # noqa: S101 - plan, forecast and names change together
    number = stored.number
    this = shipments.c.number == number
    before = _fitted_times(connection, number), read_trace(connection, number)
    keep_versions(connection, [number], reason=reason, now=now)
    revision = next_revision(connection)
    changed = {**change.values, "revision": stored.revision + 1, "updated_at": now}
    connection.execute(update(shipments).where(this).values(changed))
    if change.lines is not None:
        connection.execute(delete(lines).where(lines.c.shipment == number))
        _write_lines(connection, number, change.lines)
    if change.readings is not None:
        connection.execute(delete(logger_readings).where(logger_readings.c.shipment == number))
        if change.readings:
            rows = [{"shipment": number, **reading._asdict()} for reading in change.readings]
            connection.execute(insert(logger_readings), rows)
    for event in change.forgotten:
        cells = [events.c[name] == value for name, value in event._asdict().items()]
        connection.execute(delete(events).where(events.c.shipment == number, *cells))
    _add_events(connection, number, change.heard)
    after = read_shipment(connection, stored.id)
    if after is None or after.state != ARRIVED:
        return
    arrives = stored.state != ARRIVED
    times, readings = _fitted_times(connection, number), read_trace(connection, number)
    differing = FITTED_COLUMNS & set(differing_columns(stored.record, after.record))
    if arrives or differing or (times, readings) != before:
        revisions = {"corrected_revision": revision} | ({"arrived_revision": revision} if arrives else {})
        connection.execute(update(shipments).where(this).values(revisions))


def delete_shipment(connection: Connection, stored: StoredShipment) -> None:
    """Delete a shipment with everything recorded of it."""
    next_revision(connection)
    connection.execute(delete(shipments).where(shipments.c.number == stored.number))


def _write_lines(connection: Connection, number: int, rows: Sequence[tuple[LineRecord, OrderedLine]]) -> None:
    values = [
        {"shipment": number, "position": i, **line._asdict(), **ordered._asdict()}
        for i, (line, ordered) in enumerate(rows)
    ]
    if values:
        connection.execute(insert(lines), values)


def _add_events(connection: Connection, number: int, heard: Sequence[JourneyEvent]) -> None:
    if heard:
        last = connection.execute(
            select(events.c.position).where(events.c.shipment == number).order_by(events.c.position.desc()).limit(1)
        ).scalar()
        first = 0 if last is None else last + 1
        rows = [{"shipment": number, "position": first + i, **event._asdict()} for i, event in enumerate(heard)]
        connection.execute(insert(events), rows)


def _fitted_times(connection: Connection, number: int) -> tuple[datetime | None, ...]:
    columns = [shipments.c[name] for name in FITTED_TIMES]
    return tuple(connection.execute(select(*columns).where(shipments.c.number == number)).one())


def photos_as_json(names: Sequence[str]) -> str:
    """Return names of files as they are kept."""
    return json.dumps(list(names), ensure_ascii=False)
