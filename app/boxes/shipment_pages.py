"""Shipments page by page, the newest first, those that have arrived by arrival, with what waits to be done."""

import base64
import binascii
import re
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import NamedTuple, get_args
from zoneinfo import ZoneInfo

from app.batch import caution
from app.boxes.due_dates import claim_due, expected_by, late_since, may_be_claimed
from app.boxes.next_steps import is_counted_again, recheck_on
from app.boxes.shipment_answer import claim_state, plant_lines, time_zone
from app.problems import FieldError, InvalidInput, json_pointer
from app.records import local_date, seller_key
from app.schemas import ShipmentItem, ShipmentsAnswer, ShipmentState, either
from app.store import (
    ARRIVED,
    OPEN_STATES,
    Database,
    ShipmentLife,
    count_without_outcome,
    list_shipments,
    read_forecasts,
    read_lives,
    read_plan_texts,
    read_seller,
)
from model.reference import CONSTANTS, Reference

STATES = get_args(ShipmentState)
IN_TRANSIT = "in_transit"
USUAL_LIMIT, MAX_LIMIT = 100, 500
MAX_NUMBER = 2**31 - 1
MAX_REFERENCE_CHARACTERS = 120
_CURSOR = re.compile(rb"before ([1-9][0-9]{0,9})(?: of ([0-9]{4}-[0-9]{2}-[0-9]{2}))?")


class PageQuery(NamedTuple):
    """Which page is asked for."""

    state: str | None = None
    reference: str | None = None
    limit: int = USUAL_LIMIT
    before: int | None = None
    arrived_by: date | None = None


def page_query(parameters: Iterable[tuple[str, str]]) -> PageQuery:
    """Return the query in the parameters of a call.

    Raises
    ------
    InvalidInput
        For a parameter that is not known, stands twice, or is not as it should be.
    """
    given: dict[str, str] = {}
    faults: list[FieldError] = []
    for name, value in parameters:
        if name not in _PARAMETERS:
            faults.append(FieldError(json_pointer([name]), f"is not known here: use {either(list(_PARAMETERS))}"))
        elif name in given:
            faults.append(FieldError(json_pointer([name]), "stands twice: give it once"))
        given[name] = value
    state, reference, limit, cursor = (given.get(name) for name in _PARAMETERS)
    if state is not None and state not in STATES:
        faults.append(FieldError("/state", f"must be {either(STATES)}"))
    if reference is not None and ("\0" in reference or len(reference) > MAX_REFERENCE_CHARACTERS):
        faults.append(FieldError("/reference", f"must be a text of up to {MAX_REFERENCE_CHARACTERS} characters"))
    n = USUAL_LIMIT if limit is None else int(limit) if re.fullmatch("[0-9]{1,4}", limit) else 0
    if not 1 <= n <= MAX_LIMIT:
        faults.append(FieldError("/limit", f"must be a whole number, 1 to {MAX_LIMIT}"))
    before, arrived_by = (None, None) if cursor is None else _from_cursor(cursor)
    # A cursor begins where a list of the same order ended.
    if cursor is not None and (before is None or (state == ARRIVED) != (arrived_by is not None)):
        faults.append(FieldError("/cursor", "must be the next_cursor of an answer: leave it out to begin at the top"))
    if faults:
        raise InvalidInput(faults)
    return PageQuery(state, reference, n, before, arrived_by)


def answer_page(query: PageQuery, database: Database, reference: Reference, now: datetime) -> ShipmentsAnswer:
    """Return a page of shipments.

    Raises
    ------
    StoreUnavailable
        If the database cannot be used.
    """
    if database.absent:
        return ShipmentsAnswer(items=[], next_cursor=None, cautions=[])
    oldest = now.date() - timedelta(days=CONSTANTS.outcome_days)
    with database.reading() as connection:
        found = list_shipments(
            connection,
            state=query.state,
            reference=query.reference,
            before=query.before,
            arrived_by=query.arrived_by,
            limit=query.limit + 1,
        )
        lives = read_lives(connection, found[: query.limit])
        n_waiting = count_without_outcome(connection, oldest)
        forecasts = read_forecasts(
            connection, [life.stored.number for life in lives if life.stored.state == IN_TRANSIT]
        )
        claimable = {life.stored.number: life.stored.record.seller for life in lives if may_be_claimed(life)}
        plans = read_plan_texts(connection, list(claimable))
        keys = {seller_key(name) for name in claimable.values() if name is not None}
        sellers = {key: read_seller(connection, key) for key in keys}

    def item(life: ShipmentLife) -> ShipmentItem:
        number, record = life.stored.number, life.stored.record
        until = None
        if number in claimable:
            seller = None if record.seller is None else sellers[seller_key(record.seller)]
            zone = ZoneInfo(time_zone(record.destination, reference))
            until = claim_due(life, plans.get(number), seller, zone)
        expected = expected_by(life.departed_at, forecasts.get(number))
        return _item(life, reference, now, claim_until=until, late=late_since(expected, now))

    more = len(found) > query.limit
    return ShipmentsAnswer(
        items=[item(life) for life in lives],
        next_cursor=_cursor(lives[-1], by_arrival=query.state == ARRIVED) if more else None,
        cautions=[caution("outcome_missing", n=n_waiting, days=CONSTANTS.outcome_days)] if n_waiting else [],
    )


def _item(
    life: ShipmentLife, reference: Reference, now: datetime, *, claim_until: datetime | None, late: datetime | None
) -> ShipmentItem:
    stored, record = life.stored, life.stored.record
    zone = time_zone(record.destination, reference)
    opened_on = record.arrival_date if life.opened_at is None else local_date(life.opened_at, zone)
    recheck = None
    if stored.state == ARRIVED and opened_on is not None and not is_counted_again(opened_on, record.recheck_date):
        recheck = recheck_on(opened_on)
    return ShipmentItem(
        id=stored.id,
        reference=stored.reference,
        state=stored.state,  # type: ignore[arg-type]
        etag=stored.etag,
        seller=record.seller,
        service=record.service,
        origin=record.origin,
        destination=record.destination,
        ship_date=record.ship_date,
        departed_at=life.departed_at,
        arrival_date=record.arrival_date,
        opened_at=life.opened_at,
        lines=plant_lines(life),
        recheck_on=recheck,
        recheck_due=recheck is not None and recheck <= local_date(now, zone),
        claim_until=claim_until,
        late_since=late,
        outcome_missing=stored.state in OPEN_STATES and (now.date() - record.ship_date).days > CONSTANTS.outcome_days,
        claim=claim_state(life),
        created_at=life.created_at,
    )


_PARAMETERS = (*PageQuery._fields[:3], "cursor")


def _cursor(life: ShipmentLife, *, by_arrival: bool) -> str:
    day = f" of {life.stored.record.arrival_date}" if by_arrival else ""
    return base64.urlsafe_b64encode(f"before {life.stored.number}{day}".encode()).decode().rstrip("=")


def _from_cursor(cursor: str) -> tuple[int | None, date | None]:
    """Return the number and, in a list by arrival, the day from which to go on; nothing where it is no cursor."""
    try:
        words = base64.b64decode(cursor + "=" * (-len(cursor) % 4), altchars=b"-_", validate=True)
    except (binascii.Error, ValueError):
        return None, None
    found = _CURSOR.fullmatch(words)
    if found is None or int(found[1]) > MAX_NUMBER:
        return None, None
    try:
        return int(found[1]), None if found[2] is None else date.fromisoformat(found[2].decode())
    except ValueError:
        return None, None
