"""The clocks of a claim, by hand from the articles of the Montreal Convention 1999 and the calendar.

Article 31(2): damage in writing within 14 days of receipt, delay within 21 days of the day on which the cargo was
placed at the receiver's disposal. Article 52: days are calendar days.
"""

from datetime import date, datetime
from typing import Any

import pytest

from app.claims.clocks import claim_clocks
from app.records.ledger import ShipmentRecord
from app.schemas.batch import Recourse
from app.schemas.claim import Clock
from app.store.shipment_life import ShipmentLife
from app.store.shipments import StoredShipment
from model.reference.tables import load_reference

PLACES = load_reference().places
NOW = datetime.fromisoformat("2027-02-01T00:00:00+00:00")


def arrived(arrival_date: str, arrived_at: str | None = None, **changes: Any) -> ShipmentLife:
    """Return an arrived shipment that left on 11 January 2027."""
    record = ShipmentRecord(
        "A-1", "Invented Ferns", "courier", "BKK", "DUB", "foam_box", "damp_wrap", 0.0, date(2027, 1, 11),
        date.fromisoformat(arrival_date), None, 0, 0, None, "EUR", None, None, None, (),
    )  # fmt: skip
    moment = None if arrived_at is None else datetime.fromisoformat(arrived_at)
    stored = StoredShipment(1, "s" + "0" * 24, "A-1", "arrived", 2, 1, 1, record._replace(**changes))
    return ShipmentLife(stored, None, moment, moment, None, "", (), "", None, None, None, None, None, NOW, NOW, (), ())


def clocks(life: ShipmentLife, recourse: Recourse | None = None) -> dict[str, Clock]:
    """Return the clocks by their codes."""
    record = life.stored.record
    found = claim_clocks(life, recourse, PLACES[record.origin], PLACES[record.destination])
    return {clock.code: clock for clock in found}


def said(moment: datetime | date | None) -> str:
    assert moment is not None
    return moment.isoformat()


def test_carrier_is_told_within_14_and_21_calendar_days_of_receipt() -> None:
    found = clocks(arrived("2027-01-16", "2027-01-16T10:00:00+00:00"))
    # 16 + 14 = 30 January; 16 + 21 = 37, less the 31 days of January = 6 February.
    assert (said(found["carrier_damage"].from_), said(found["carrier_damage"].until)) == ("2027-01-16", "2027-01-30")
    assert (said(found["carrier_delay"].from_), said(found["carrier_delay"].until)) == ("2027-01-16", "2027-02-06")
    assert "Article 31(2)" in found["carrier_damage"].source
    assert "Article 31(2)" in found["carrier_delay"].source
    assert all("exclude live plants" in found[code].text for code in ("carrier_damage", "carrier_delay"))


def test_carrier_clocks_pass_a_leap_day() -> None:
    found = clocks(arrived("2028-02-15", ship_date=date(2028, 2, 10)))
    # 2028 is a leap year: 15 + 14 = 29 February exists; 21 days on is 7 March.
    assert said(found["carrier_damage"].until) == "2028-02-29"
    assert said(found["carrier_delay"].until) == "2028-03-07"


def test_mail_has_no_carrier_clock_but_a_question() -> None:
    found = clocks(arrived("2027-01-16", service="post"))
    for code in ("carrier_damage", "carrier_delay"):
        assert found[code].until is None
        assert found[code].text.startswith("Ask the postal operator")
        assert "exclude live plants" in found[code].text
        assert found[code].decided_by == "postal operator"


def test_convention_is_silent_within_one_country() -> None:
    found = clocks(arrived("2027-01-16", origin="JFK", destination="ABQ"))
    assert found["carrier_damage"].until is None
    assert "one country" in found["carrier_damage"].source


def test_air_cargo_has_the_same_clocks_as_a_courier() -> None:
    cargo, courier = (clocks(arrived("2027-01-16", service=service)) for service in ("air_cargo", "courier"))
    assert cargo == courier


@pytest.mark.parametrize(
    ("destination", "delivered", "hours", "start", "until"),
    [
        # Ireland goes to summer time on Sunday 28 March 2027 at 01:00 UTC: two days on the clock shows one hour more.
        ("DUB", "2027-03-27T18:00:00+00:00", 48, "2027-03-27T18:00:00+00:00", "2027-03-29T19:00:00+01:00"),
        # and back on Sunday 31 October 2027 at 01:00 UTC.
        ("DUB", "2027-10-30T22:30:00+00:00", 24, "2027-10-30T23:30:00+01:00", "2027-10-31T22:30:00+00:00"),
        # New York leaves summer time on Sunday 7 November 2027 at 06:00 UTC.
        ("JFK", "2027-11-06T20:00:00-04:00", 24, "2027-11-06T20:00:00-04:00", "2027-11-07T19:00:00-05:00"),
        # Auckland is 13 hours ahead of UTC in January: an evening there is a morning in universal time.
        ("AKL", "2027-01-16T07:00:00+00:00", 1.5, "2027-01-16T20:00:00+13:00", "2027-01-16T21:30:00+13:00"),
    ],
)
def test_window_of_the_seller_counts_real_hours(
    destination: str, delivered: str, hours: float, start: str, until: str
) -> None:
    recourse = Recourse(kind="refund", claim_window_hours=hours)
    clock = clocks(arrived(delivered[:10], delivered, destination=destination), recourse)["seller_window"]
    assert (said(clock.from_), said(clock.until)) == (start, until)
    assert clock.source == f"the plan: a claim window of {hours:g} h"


def test_window_counts_from_the_start_of_the_day_where_no_time_is_recorded() -> None:
    clock = clocks(arrived("2027-01-16"), Recourse(kind="refund", claim_window_hours=24))["seller_window"]
    assert (said(clock.from_), said(clock.until)) == ("2027-01-16T00:00:00+00:00", "2027-01-17T00:00:00+00:00")
    assert "the time is not recorded" in clock.text
    # Lebanon has no midnight on Sunday 28 March 2027: at 00:00 its clocks go to 01:00.
    there = clocks(arrived("2027-03-28", destination="BEY"))["seller_window"]
    assert (said(there.from_), said(there.until)) == ("2027-03-28T01:00:00+03:00", "2027-03-30T01:00:00+03:00")


def test_window_that_is_not_given_is_the_most_common_one_and_says_so() -> None:
    """Said to be unknown is not given either: one end, and one that the calendar and the list can show."""
    unknown = Recourse(kind="refund", claim_window_hours=None)
    for recourse in (None, Recourse(), Recourse(kind="refund"), unknown):
        clock = clocks(arrived("2027-01-16", "2027-01-16T10:00:00+00:00"), recourse)["seller_window"]
        assert said(clock.until) == "2027-01-18T10:00:00+00:00"
        assert clock.source.startswith("not given: 48 h is the most common window")
        assert "common practice" in clock.source
        assert "ask how long you may claim" in clock.text


def test_payment_is_protected_only_where_that_is_given() -> None:
    assert "payment_protection" not in clocks(arrived("2027-01-16"), Recourse(kind="refund"))
    assert "payment_protection" not in clocks(arrived("2027-01-16"))
    clock = clocks(arrived("2027-01-16"), Recourse(payment_window_days=60))["payment_protection"]
    # 11 January + 60 days: 20 left in January, 28 in February, so 12 March.
    assert (said(clock.from_), said(clock.until)) == ("2027-01-11", "2027-03-12")
    assert clock.source == "the plan: payments can be disputed for 60 days"


def test_a_payment_protected_for_a_day_is_said_so() -> None:
    clock = clocks(arrived("2027-01-16"), Recourse(payment_window_days=1))["payment_protection"]
    # The plan's ship date, 11 January, and a day.
    assert (clock.source, said(clock.until)) == ("the plan: payments can be disputed for 1 day", "2027-01-12")
