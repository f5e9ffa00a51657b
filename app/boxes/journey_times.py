"""When a box left, was delivered and opened: as given, else as on record, and whether these times fit each other."""

from datetime import datetime, time
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from app.boxes.shipment_answer import time_zone
from app.boxes.shipment_lookup import WholeShipment
from app.problems import FieldError
from app.records import LONGEST_DAYS, SECONDS_A_DAY, arrival_fault, local_date
from model.reference import Reference

MIDNIGHT = time(0)
AFTER_ARRIVAL = "must not be after the delivery: correct it if it is the one that is wrong"
TOO_EARLY = "correct it if it is the one that is wrong"


class GivenTimes(NamedTuple):
    """Times that a call gives; None: as recorded, and for the opening: as the delivery."""

    departed_at: datetime | None
    arrived_at: datetime
    opened_at: datetime | None


class JourneyTimes(NamedTuple):
    """Times of a journey, the moment from which a logger counts, and what is written of them."""

    departed_at: datetime | None
    opened_at: datetime
    begins: datetime
    values: dict[str, Any]


def journey_times(
    found: WholeShipment, given: GivenTimes, reference: Reference, faults: list[FieldError]
) -> JourneyTimes:
    """Return the times of a journey as they are given and, where they are not, on record; faults are added.

    A fault between two steps is said at both, so that either can be mended.
    """
    record = found.life.stored.record
    zones = time_zone(record.origin, reference), time_zone(record.destination, reference)
    arrived_at, opened_at = given.arrived_at, given.opened_at or given.arrived_at
    departed_at = given.departed_at or found.life.departed_at
    last = "/arrived_at" if given.opened_at is None else "/opened_at"
    arrival_date = local_date(arrived_at, zones[1])
    values: dict[str, Any] = {"arrived_at": arrived_at, "opened_at": opened_at, "arrival_date": arrival_date}
    if departed_at is None:
        begins = datetime.combine(record.ship_date, MIDNIGHT, tzinfo=ZoneInfo(zones[0]))
        for pointer, day in (("/arrived_at", arrival_date), (last, local_date(opened_at, zones[1]))):
            if (fault := arrival_fault(record.ship_date, day, *zones)) is not None:
                faults.append(FieldError(pointer, f"{fault}; if the box left on another day, give departed_at"))
                break
    else:
        begins = departed_at
        values |= {"departed_at": departed_at, "ship_date": local_date(departed_at, zones[0])}
        if arrived_at < departed_at:
            faults.append(FieldError("/arrived_at", "must not be before the departure: correct one, or departed_at"))
            faults.append(FieldError("/departed_at", AFTER_ARRIVAL))
        elif (opened_at - departed_at).total_seconds() > LONGEST_DAYS * SECONDS_A_DAY:
            faults.append(FieldError(last, f"must be at most {LONGEST_DAYS:.0f} days after the departure"))
            faults.append(FieldError("/departed_at", TOO_EARLY))
    return JourneyTimes(departed_at, opened_at, begins, values)
