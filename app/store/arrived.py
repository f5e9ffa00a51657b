"""All recorded boxes as columns: what a fit reads."""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import UTC, datetime
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Column, ColumnElement, Connection, Select, select

from app.store.schema import forecasts, lines, logger_readings, sellers, shipments
from app.store.shipments import ARRIVED

Counts = NDArray[np.int64]
UNKNOWN = -1
ON_THE_WAY = ("in_transit", "lost")


class Coded(NamedTuple):
    """A column of texts: `levels[codes]`, levels sorted; code -1 where there is no text."""

    codes: NDArray[np.int32]
    levels: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class ShipmentColumns:
    """One entry a shipment, in order of creation; all arrays have shape (n_shipments,).

    Dates are datetime64[D] and moments datetime64[s] in UTC, NaT where there is none. `seller` is coded by the key of
    its name; `seller_kind` is that of the shipment, else that of the seller. `inside_temp_c`, `inside_min_c` and
    `inside_max_c` are the mean and the extremes of a logger, NaN without one. `arrived_revision` and
    `corrected_revision` are the revisions of the ledger that brought the arrival and that last changed what is read
    here for a fit (0 before arrival): against the revision that a model has seen, they tell unseen boxes and corrected
    ones.
    """

    number: Counts
    state: Coded
    seller: Coded
    seller_kind: Coded
    service: Coded
    origin: Coded
    destination: Coded
    container: Coded
    roots: Coded
    heat_pack_hours: NDArray[np.float64]
    heat_packs: Counts
    cold_packs: Counts
    ship_date: NDArray[np.datetime64]
    arrival_date: NDArray[np.datetime64]
    recheck_date: NDArray[np.datetime64]
    departed_at: NDArray[np.datetime64]
    opened_at: NDArray[np.datetime64]
    inside_temp_c: NDArray[np.float64]
    inside_min_c: NDArray[np.float64]
    inside_max_c: NDArray[np.float64]
    arrived_revision: Counts
    corrected_revision: Counts

    def moments(self, i: int) -> tuple[datetime | None, datetime | None]:
        """Return when shipment i departed and was opened, as far as the times are known."""
        departed_at, opened_at = (column[i].astype(object) for column in (self.departed_at, self.opened_at))
        return departed_at and departed_at.replace(tzinfo=UTC), opened_at and opened_at.replace(tzinfo=UTC)


@dataclass(frozen=True, slots=True, eq=False)
class LineColumns:
    """One entry a line with plants, by shipment, then position; all arrays have shape (n_lines,).

    `shipment` indexes `ShipmentColumns`; `position` is the line's own in its shipment, from 0. Counts are -1 where
    unknown: damaged and dead where only healthy was counted, healthy and damaged where only dead was; all four
    rechecked counts without a recheck.
    """

    shipment: Counts
    position: Counts
    genus: Coded
    cultivar: Coded
    sent: Counts
    healthy: Counts
    damaged: Counts
    dead: Counts
    recheck_healthy: Counts
    recheck_damaged: Counts
    recheck_dead: Counts
    recheck_gone: Counts


class ArrivedBoxes(NamedTuple):
    """The arrived shipments and their lines."""

    shipments: ShipmentColumns
    lines: LineColumns


class LoggerColumns(NamedTuple):
    """Logger readings by shipment, then time: `number` of the shipment, time in UTC (datetime64[s]), °C in the box."""

    number: Counts
    at: NDArray[np.datetime64]
    inside_c: NDArray[np.float64]


def read_arrived(connection: Connection, *, after: int = -1) -> ArrivedBoxes:
    """Return the arrived shipments with the lines of which at least one plant was sent.

    Only those that came or were corrected after a revision of the ledger, where one is given.
    """
    changed = shipments.c.corrected_revision > after
    table = _read_shipments(connection, (ARRIVED,), changed)
    columns = [lines.c[field.name] for field in fields(LineColumns)]
    query = select(*columns).join(shipments).where(shipments.c.state == ARRIVED, changed, lines.c.sent > 0)
    cells = _columns(connection, query.order_by(lines.c.shipment, lines.c.position))
    given: dict[str, Any] = {
        field.name: coded(values) if field.type is Coded else _counts(values)
        for field, values in zip(fields(LineColumns), cells, strict=True)
    }
    given["shipment"] = np.searchsorted(table.number, given["shipment"])
    return ArrivedBoxes(table, LineColumns(**given))


def read_on_the_way(connection: Connection) -> ShipmentColumns:
    """Return the shipments that left and have not arrived, lost ones included; their arrival dates are NaT."""
    return _read_shipments(connection, ON_THE_WAY)


def read_logger(connection: Connection, numbers: Sequence[int] | None = None, *, after: int = -1) -> LoggerColumns:
    """Return the logger readings of the shipments that `read_arrived` returns, or of up to some hundred of them."""
    of = logger_readings.c
    query = select(of.shipment, of.at, of.inside_c).join(shipments)
    query = query.where(shipments.c.state == ARRIVED, shipments.c.corrected_revision > after)
    if numbers is not None:
        query = query.where(of.shipment.in_(numbers))
    number, at, inside_c = _columns(connection, query.order_by(of.shipment, of.at))
    return LoggerColumns(_counts(number), _moments(at), np.array(inside_c, dtype=np.float64))


def read_plans(
    connection: Connection, numbers: Sequence[int] | None = None, *, after: int = -1
) -> dict[int, tuple[str, str]]:
    """Return, by number of the arrived shipment, its plan and its forecast as JSON, for those that were planned.

    Of those that `read_arrived` returns, or of up to some hundred of them.
    """
    query = select(shipments.c.number, shipments.c.plan_json, forecasts.c.answer_json).join(forecasts)
    query = query.where(shipments.c.state == ARRIVED, shipments.c.corrected_revision > after)
    query = query.where(shipments.c.plan_json.is_not(None))
    rows = connection.execute(query if numbers is None else query.where(shipments.c.number.in_(numbers)))
    return {number: (plan, answer) for number, plan, answer in rows}


def coded(texts: Sequence[str | None]) -> Coded:
    """Return a column of texts as codes of its sorted levels."""
    levels = tuple(sorted({text for text in texts if text is not None}))
    place: dict[str | None, int] = {text: code for code, text in enumerate(levels)}
    return Coded(np.array([place.get(text, -1) for text in texts], dtype=np.int32), levels)


def _read_shipments(connection: Connection, states: Sequence[str], *conditions: ColumnElement[bool]) -> ShipmentColumns:
    names = [field.name for field in fields(ShipmentColumns)]
    columns: list[Column[Any]] = [shipments.c[name] for name in names]
    query = select(*columns, sellers.c.kind).outerjoin(sellers).where(shipments.c.state.in_(states), *conditions)
    *cells, kinds = _columns(connection, query.order_by(shipments.c.number))
    given: dict[str, Any] = dict(zip(names, cells, strict=True))
    given["seller_kind"] = [own or kind for own, kind in zip(given["seller_kind"], kinds, strict=True)]
    for field in fields(ShipmentColumns):
        values = given[field.name]
        if field.type is Coded:
            given[field.name] = coded(values)
        elif field.type is Counts:
            given[field.name] = np.array([value or 0 for value in values], dtype=np.int64)
        elif field.name.endswith("_date"):
            given[field.name] = np.array(values, dtype="datetime64[D]")
        elif field.name.endswith("_at"):
            given[field.name] = _moments(values)
        else:
            given[field.name] = np.array(values, dtype=np.float64)  # None becomes NaN
    return ShipmentColumns(**given)


def _columns(connection: Connection, query: Select[Any]) -> list[tuple[Any, ...]]:
    """Return the answer to a query column by column."""
    rows = connection.execute(query).all()
    return list(zip(*rows, strict=True)) if rows else [()] * len(query.selected_columns)


def _moments(values: Sequence[datetime | None]) -> NDArray[np.datetime64]:
    naive = [None if moment is None else moment.replace(tzinfo=None) for moment in values]
    return np.array(naive, dtype="datetime64[s]")


def _counts(values: Sequence[int | None]) -> Counts:
    return np.array([UNKNOWN if value is None else value for value in values], dtype=np.int64)
