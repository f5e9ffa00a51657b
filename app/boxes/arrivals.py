"""An arrival: the counts, the times, the trace of a logger; a second one corrects the first."""

from collections.abc import Sequence
from datetime import UTC, datetime, time
from typing import NamedTuple

from app.batch import caution
from app.boxes.arrived_lines import ArrivedLines, arrived_lines
from app.boxes.journey_times import GivenTimes, journey_times
from app.boxes.recheck_sums import recheck_fault
from app.boxes.recorded_moments import ahead_faults
from app.boxes.shipment_changes import Decided
from app.boxes.shipment_lookup import WholeShipment
from app.boxes.traces import Trace, given_trace, time_weighted_mean, trace_faults
from app.problems import InvalidInput
from app.records import RECHECK_COLUMNS, LineRecord
from app.schemas import ArrivalRequest, RequestBody
from app.store import ARRIVED, ShipmentChange, photos_as_json
from model.reference import Reference

ARRIVAL_BODY = RequestBody(ArrivalRequest)
MIDNIGHT = time(0)


class AskedArrival(NamedTuple):
    """The body of an arrival, its trace read."""

    request: ArrivalRequest
    trace: Trace


def read_arrival(data: bytes) -> AskedArrival:
    """Return the arrival in a body.

    Raises
    ------
    MalformedJson, InvalidInput
        If it is none.
    """
    request = ARRIVAL_BODY.parse(data)
    return AskedArrival(request, given_trace(request))


def decide_arrival(found: WholeShipment, asked: AskedArrival, reference: Reference, now: datetime) -> Decided:
    """Return what an arrival comes to, whether the box was planned, on its way, given up or here already.

    A recheck that the new counts no longer add up to is taken out.

    Raises
    ------
    InvalidInput
        If lines, counts, times or trace do not fit each other or the shipment, or a time is in the future.
    """
    request = asked.request
    faults = ahead_faults(
        [
            ("/departed_at", request.departed_at),
            ("/arrived_at", request.arrived_at),
            ("/opened_at", request.opened_at),
        ],
        now,
    )
    given = GivenTimes(request.departed_at, request.arrived_at, request.opened_at)
    times = journey_times(found, given, reference, faults)
    counted = arrived_lines(found, request, faults)
    faults += trace_faults(asked.trace, times.begins, times.opened_at)
    if faults:
        raise InvalidInput(faults)
    readings = asked.trace.readings
    inside_c = [reading.inside_c for reading in readings]
    values = times.values | {
        "state": ARRIVED,
        "arrival_notes": request.notes,
        "photos_json": photos_as_json(request.photos),
        "inside_temp_c": time_weighted_mean(readings) if readings else request.inside_temp_c,
        "inside_min_c": min(inside_c) if inside_c else request.inside_min_c,
        "inside_max_c": max(inside_c) if inside_c else request.inside_max_c,
    }
    rechecked = _with_recheck(found, counted, times.opened_at)
    cautions = []
    if rechecked is None:
        rechecked = counted
        values |= {"recheck_date": None, "rechecked_at": None, "recheck_notes": ""}
        cautions.append(caution("recheck_dropped"))
    in_utc = [reading._replace(at=reading.at.astimezone(UTC)) for reading in readings]
    return Decided(ShipmentChange(values, lines=rechecked, readings=in_utc), cautions, look=True)


def _with_recheck(found: WholeShipment, counted: ArrivedLines, opened_at: datetime) -> ArrivedLines | None:
    """Return the lines with their recheck, or None where it does not fit them any more."""
    life = found.life
    rechecked: dict[tuple[str, str | None], LineRecord] = {
        (line.genus, line.cultivar): line for line in life.stored.record.lines if line.rechecked
    }
    if not rechecked:
        return counted
    if life.rechecked_at is not None and life.rechecked_at < opened_at:
        return None
    lines = []
    for line, ordered in counted:
        before = rechecked.pop((line.genus, line.cultivar), None)
        if before is not None:
            if recheck_fault(line, _counts(before)) is not None:
                return None
            counts = {name: getattr(before, name) for name in RECHECK_COLUMNS}
            lines.append((line._replace(**counts), ordered))
        else:
            lines.append((line, ordered))
    return None if rechecked else lines


def _counts(line: LineRecord) -> Sequence[int]:
    return [getattr(line, name) or 0 for name in RECHECK_COLUMNS]
