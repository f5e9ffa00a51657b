"""Shipments as recorded and with slips undone, as columns of their own: each variant is a shipment by itself."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.doubts.slips import Slip
from app.recorded import RecordedLines, recorded_lines
from app.store import ArrivedBoxes, Coded, LoggerColumns, ShipmentColumns
from model.reference import Reference

Indices = NDArray[np.intp]


@dataclass(frozen=True, slots=True, eq=False)
class Variants:
    """Variants of shipments, their lines in the order of the variants.

    Attributes
    ----------
    shipments : ShipmentColumns
        `number` counts the variants.
    table : RecordedLines
    line : (rows,)
        Index in the ledger's lines of each row of the table.
    """

    shipments: ShipmentColumns
    table: RecordedLines
    line: Indices


def undone(shipments: ShipmentColumns, index: Indices, slips: Sequence[Slip | None]) -> ShipmentColumns:
    """Return a shipment for each index with its slip undone; None: as recorded."""
    these: ShipmentColumns = _take(shipments, index)
    days = [np.array([0 if s is None else n(s) for s in slips], dtype="timedelta64[D]") for n in (_ship, _arrival)]
    scale = np.array([1.0 if slip is None else slip.celsius.scale for slip in slips])
    shift = np.array([0.0 if slip is None else slip.celsius.shift for slip in slips])
    # A unit is that of the extremes as well; a digit is lost in one number.
    own_scale = np.where(shift != 0.0, scale, 1.0)
    return replace(
        these,
        number=np.arange(len(index)),
        ship_date=these.ship_date + days[0],
        arrival_date=these.arrival_date + days[1],
        departed_at=these.departed_at + days[0].astype("timedelta64[s]"),
        opened_at=these.opened_at + days[1].astype("timedelta64[s]"),
        inside_temp_c=scale * these.inside_temp_c + shift,
        inside_min_c=own_scale * these.inside_min_c + shift,
        inside_max_c=own_scale * these.inside_max_c + shift,
    )


def variants(
    ledger: ArrivedBoxes,
    logger: LoggerColumns,
    plans: Mapping[int, tuple[str, str]],
    index: Indices,
    slips: Sequence[Slip | None],
    reference: Reference,
) -> Variants:
    """Return variants of shipments of the ledger with their exposures, one for each index and its slip."""
    shipments = undone(ledger.shipments, index, slips)
    starts = np.searchsorted(ledger.lines.shipment, np.arange(len(ledger.shipments.number) + 1))
    sizes = np.diff(starts)[index]
    own = np.repeat(np.arange(len(index)), sizes)
    first = np.repeat(np.cumsum(sizes) - sizes, sizes)
    line = starts[index][own] + np.arange(len(own)) - first
    lines = replace(_take(ledger.lines, line), shipment=own)
    numbers = ledger.shipments.number[index]
    own_plans = {i: plans[number] for i, number in enumerate(numbers.tolist()) if number in plans}
    traces = _traces(logger, numbers, slips)
    return Variants(shipments, recorded_lines(ArrivedBoxes(shipments, lines), traces, reference, own_plans), line)


def _ship(slip: Slip) -> int:
    return slip.ship_days


def _arrival(slip: Slip) -> int:
    return slip.arrival_days


def _take(columns: Any, index: Indices) -> Any:
    """Return some rows of columns, in the order given and as often as they stand there."""
    taken: dict[str, Any] = {}
    for field in fields(columns):
        column = getattr(columns, field.name)
        taken[field.name] = Coded(column.codes[index], column.levels) if isinstance(column, Coded) else column[index]
    return type(columns)(**taken)


def _traces(logger: LoggerColumns, numbers: NDArray[np.int64], slips: Sequence[Slip | None]) -> LoggerColumns:
    """Return the readings of the variants; where nothing is known of the temperature there are none."""
    logged = set(np.unique(logger.number).tolist())
    number, at, inside_c = [logger.number[:0]], [logger.at[:0]], [logger.inside_c[:0]]
    for i, (own, slip) in enumerate(zip(numbers.tolist(), slips, strict=True)):
        if own not in logged or (slip is not None and slip.celsius.scale == 0.0):
            continue
        rows = slice(*np.searchsorted(logger.number, [own, own + 1]))
        read = logger.inside_c[rows]
        number.append(np.full(len(read), i))
        at.append(logger.at[rows])
        inside_c.append(read if slip is None else slip.celsius.scale * read + slip.celsius.shift)
    return LoggerColumns(np.concatenate(number), np.concatenate(at), np.concatenate(inside_c))
