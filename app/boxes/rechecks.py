"""A recheck: the plants counted again about two weeks after the box was opened."""

from datetime import datetime

from app.boxes.recheck_sums import recheck_fault
from app.boxes.recorded_moments import ahead_faults
from app.boxes.shipment_answer import time_zone
from app.boxes.shipment_changes import Decided
from app.boxes.shipment_lookup import WholeShipment
from app.problems import Conflict, FieldError, InvalidInput, json_pointer
from app.records import local_date
from app.schemas import RecheckRequest, RequestBody
from app.store import ARRIVED, ShipmentChange
from model.reference import Reference

RECHECK_BODY = RequestBody(RecheckRequest)


def decide_recheck(found: WholeShipment, request: RecheckRequest, reference: Reference, now: datetime) -> Decided:
    """Return what a recheck comes to; lines left out were not looked at again.

    Raises
    ------
    InvalidInput
        If there is no such line, the counts do not add up to the plants alive at arrival, or it was before the opening
        or in the future.
    Conflict
        Before the arrival.
    """
    life = found.life
    record = life.stored.record
    checked_on = local_date(request.checked_at, time_zone(record.destination, reference))
    arrived = life.stored.state == ARRIVED
    rechecked = [
        line._replace(recheck_healthy=None, recheck_damaged=None, recheck_dead=None, recheck_gone=None)
        for line in record.lines
    ]
    faults = ahead_faults([("/checked_at", request.checked_at)], now)
    if life.opened_at is not None and request.checked_at < life.opened_at:
        faults.append(FieldError("/checked_at", "must not be before the opening of the box"))
    elif record.arrival_date is not None and checked_on < record.arrival_date:
        faults.append(FieldError("/checked_at", "must not be before the arrival"))
    for i, asked in enumerate(request.lines):
        if asked.line >= len(rechecked):
            places = f"0 to {len(rechecked) - 1}" if len(rechecked) > 1 else "0"
            message = f"must be the position of a line of the shipment, {places}"
            faults.append(FieldError(json_pointer(("lines", i, "line")), message))
            continue
        counts = (asked.healthy, asked.damaged, asked.dead, asked.gone)
        if arrived and (fault := recheck_fault(rechecked[asked.line], counts)) is not None:
            faults.append(FieldError(json_pointer(("lines", i, "dead")), fault))
        rechecked[asked.line] = rechecked[asked.line]._replace(
            recheck_healthy=asked.healthy,
            recheck_damaged=asked.damaged,
            recheck_dead=asked.dead,
            recheck_gone=asked.gone,
        )
    if faults:
        raise InvalidInput(faults)
    if not arrived:
        raise Conflict("The box has not arrived yet: PUT arrival first.")
    values = {"recheck_date": checked_on, "rechecked_at": request.checked_at, "recheck_notes": request.notes}
    return Decided(ShipmentChange(values, lines=list(zip(rechecked, life.ordered, strict=True))))
