"""The dates of boxes as a calendar file (iCalendar, RFC 5545): until when to claim, when to count again.

Each event has the same identifier in every file, so a calendar that takes a file again moves it instead of doubling it.
"""

from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING, NamedTuple
from zoneinfo import ZoneInfo

from app.batch import resolve_place, stored_seller, with_seller
from app.boxes import find_whole_shipment, is_counted_again, may_be_claimed, recheck_on, stored_plan
from app.claims.clocks import claim_clocks
from app.problems import Conflict
from app.schemas import Recourse
from app.store import (
    ARRIVED,
    Database,
    SellerRecord,
    ShipmentLife,
    arrived_since,
    list_sellers,
    read_lives,
    read_plan_texts,
)
from model.reference import Reference

if TYPE_CHECKING:
    from icalendar import Event

CALENDAR_TYPE = "text/calendar"
MAKER = "-//Transit survival//EN"
# The carrier's clocks and a recheck are over long before; some payments can be disputed for longer.
LOOK_BACK = timedelta(days=90)
DEADLINE_TAKES = timedelta(minutes=30)
BEFORE_A_MOMENT = timedelta(hours=6)
# A reminder comes when people are up, by the clock of the destination; else on the evening before.
DAY_BEGINS, EVENING = time(8), time(18)
IN_THE_MORNING = timedelta(hours=9)
TITLES = {
    "seller_window": "Last moment to claim from {seller}",
    "payment_protection": "Last day to dispute the payment",
    "carrier_damage": "Last day to tell the carrier of damage",
    "carrier_delay": "Last day to tell the carrier, if it came late",
    "recheck": "Count again",
}


class Due(NamedTuple):
    """A date of a box: `at` is a moment, or a day that lasts until its end."""

    code: str
    at: datetime | date
    text: str


def due_dates(life: ShipmentLife, recourse: Recourse | None, reference: Reference) -> list[Due]:
    """Return what an arrived box still waits for, whether its time has come or is over.

    Parameters
    ----------
    life : ShipmentLife
    recourse : Recourse or None
        That of its plan; None without one.
    reference : Reference
        For time zones and countries.
    """
    record = life.stored.record
    assert record.arrival_date is not None  # noqa: S101 - an arrived shipment has one
    origin, destination = (resolve_place(code, "", reference).place for code in (record.origin, record.destination))
    found = []
    if may_be_claimed(life):
        nothing = recourse is not None and "kind" in recourse.model_fields_set and recourse.kind == "none"
        for clock in claim_clocks(life, recourse, origin, destination):
            if clock.until is not None and not (nothing and clock.code == "seller_window"):
                found.append(Due(clock.code, clock.until, clock.text))
    zone = ZoneInfo(destination.time_zone)
    opened_on = record.arrival_date if life.opened_at is None else life.opened_at.astimezone(zone).date()
    if not is_counted_again(opened_on, record.recheck_date):
        text = "Count healthy, damaged and dead plants: injury by cold can stay invisible until then."
        found.append(Due("recheck", recheck_on(opened_on), text))
    return found


def box_calendar(database: Database, shipment_id: str, reference: Reference, now: datetime) -> bytes:
    """Return the calendar file of one box.

    Raises
    ------
    NotFound
        If there is no such shipment.
    Conflict
        If it has not arrived, or waits for nothing more.
    StoreUnavailable
        If the database cannot be used.
    """
    life, plan, *_ = find_whole_shipment(database, shipment_id)
    if life.stored.state != ARRIVED:
        raise Conflict("The shipment has not arrived: its dates to claim and to count again run from then.")
    seller = stored_seller(database, life.stored.record.seller)
    dated = _dated(life, None if plan is None else plan.plan_json, seller, reference)
    return _file([(life, dated)], now)


def boxes_calendar(database: Database, reference: Reference, now: datetime) -> bytes:
    """Return the calendar file of all boxes that arrived in the last 90 days and wait for something.

    Raises
    ------
    Conflict
        If none does.
    StoreUnavailable
        If the database cannot be used.
    """
    lives: list[ShipmentLife] = []
    plans: dict[int, str] = {}
    sellers: dict[str | None, SellerRecord] = {}
    if not database.absent:
        with database.reading() as connection:
            lives = read_lives(connection, arrived_since(connection, (now - LOOK_BACK).date()))
            plans = read_plan_texts(connection, [life.stored.number for life in lives])
            sellers = {seller.details.name: seller for seller in list_sellers(connection)}
    boxes = []
    for life in lives:
        seller = sellers.get(life.stored.record.seller)
        boxes.append((life, _dated(life, plans.get(life.stored.number), seller, reference)))
    return _file(boxes, now)


def _dated(life: ShipmentLife, plan_json: str | None, seller: SellerRecord | None, reference: Reference) -> list[Due]:
    recourse = None
    if plan_json is not None and may_be_claimed(life):
        recourse = with_seller(stored_plan(plan_json), seller).request.recourse
    return due_dates(life, recourse, reference)


def _file(boxes: Sequence[tuple[ShipmentLife, list[Due]]], now: datetime) -> bytes:
    from icalendar import Calendar  # noqa: PLC0415 - takes a fifth of a second to load, and a start needs none

    calendar = Calendar()
    calendar.add("prodid", MAKER)
    calendar.add("version", "2.0")
    for event in _events(boxes, now):
        calendar.add_component(event)
    if not calendar.subcomponents:
        raise Conflict("No box has a date to claim or to count again, and a calendar file needs one.")
    content: bytes = calendar.to_ical()
    return content


def _events(boxes: Sequence[tuple[ShipmentLife, list[Due]]], now: datetime) -> Iterator["Event"]:
    from icalendar import Alarm, Event  # noqa: PLC0415 - see _file

    for life, dated in boxes:
        name = life.stored.reference or life.stored.id
        for due in dated:
            title = f"{TITLES[due.code].format(seller=life.stored.record.seller or 'the seller')}: {name}"
            event, alarm = Event(), Alarm()
            event.add("uid", f"{life.stored.id}-{due.code}")
            event.add("dtstamp", now)
            event.add("last-modified", life.updated_at)
            event.add("summary", title)
            event.add("description", due.text)
            event.add("transp", "TRANSPARENT")
            alarm.add("action", "DISPLAY")
            alarm.add("description", title)
            if isinstance(due.at, datetime):
                until = due.at.astimezone(UTC)
                event.add("dtstart", until - DEADLINE_TAKES)
                event.add("dtend", until)
                alarm.add("trigger", _reminder(due.at).astimezone(UTC) - (until - DEADLINE_TAKES))
            else:
                event.add("dtstart", due.at)
                event.add("dtend", due.at + timedelta(days=1))
                alarm.add("trigger", IN_THE_MORNING)
            event.add_component(alarm)
            yield event


def _reminder(at: datetime) -> datetime:
    """Return when to remind of a moment, which is by the clock of the destination."""
    before = (at.astimezone(UTC) - BEFORE_A_MOMENT).astimezone(at.tzinfo)
    if before.date() == at.date() and before.time() >= DAY_BEGINS:
        return before
    return datetime.combine(at.date() - timedelta(days=1), EVENING, at.tzinfo)
