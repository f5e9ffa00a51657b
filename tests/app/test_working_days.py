"""Days on which services work: by hand from the calendar, and public holidays from the governments' lists."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.batch.journey import most_waited, not_before, origin_layover
from app.batch.lanes import Lane
from app.batch.working_days import WorkingDays, weekend_of
from model.reference import load_reference
from tests.app.batches import CARGO, COURIER, compare, fixed, hold

REFERENCE = load_reference()
MONDAY = date(2027, 1, 11)
THREE_DAYS = [COURIER | {"transit_days": fixed(3.0)}]


def lane(origin: str, destination: str, service: str = "courier") -> Lane:
    return Lane.between(REFERENCE.places[origin], REFERENCE.places[destination], service, REFERENCE)


def mean_days(**fields: object) -> float:
    return compare(**fields).routes[0].transit_days.mean


def test_closed_days_wait_for_the_next_open_one() -> None:
    closed = frozenset({date(2027, 1, 12), date(2027, 1, 13), date(2027, 1, 16), date(2027, 1, 17), date(2027, 1, 18)})
    days = WorkingDays("GB", holidays=False, closed=closed)
    np.testing.assert_array_equal(days.until_open(MONDAY, 7), [0, 2, 1, 0, 0, 3, 2])
    assert [days.closed_before(date(2027, 1, day)) for day in (11, 13, 14, 19, 20)] == [0, 1, 2, 3, 0]


@given(closed=st.sets(st.integers(-3, 25)), n_days=st.integers(1, 20), worked=st.sets(st.integers(-3, 25)))
def test_every_day_waits_exactly_until_an_open_one(closed: set[int], n_days: int, worked: set[int]) -> None:
    closed_on, worked_on = (
        frozenset(date.fromordinal(MONDAY.toordinal() + day) for day in days) for days in (closed, worked)
    )
    days = WorkingDays("GB", holidays=False, closed=closed_on, opened=worked_on)
    for day, wait in enumerate(days.until_open(MONDAY, n_days)):
        passed = range(day, day + int(wait))
        assert day + wait not in closed - worked
        assert all(other in closed - worked for other in passed)


def test_a_box_that_would_be_opened_on_a_saturday_is_opened_on_monday() -> None:
    """Closed on Wednesday 13 January 2027 (ISO weekday 3), 8 h in Semarang, it would be opened on Saturday the 16th."""
    assert (date(2027, 1, 13).isoweekday(), date(2027, 1, 16).isoweekday()) == (3, 6)
    assert mean_days(ship_date="2027-01-13", routes=THREE_DAYS) == pytest.approx(5.0)
    given = {"closed_dates": ["2027-01-16", "2027-01-17"]}
    assert mean_days(ship_date="2027-01-13", routes=THREE_DAYS, **given) == pytest.approx(5.0)
    # On Thursday it would be the Sunday; Tuesday's is opened on the Friday.
    assert mean_days(ship_date="2027-01-14", routes=THREE_DAYS) == pytest.approx(4.0)
    assert mean_days(ship_date="2027-01-12", routes=THREE_DAYS) == pytest.approx(3.0)


def test_a_day_that_is_worked_all_the_same_is_struck_out() -> None:
    fields = {"ship_date": "2027-01-13", "routes": THREE_DAYS}
    assert mean_days(**fields, open_dates=["2027-01-16"]) == pytest.approx(3.0)
    assert mean_days(**fields, open_dates=["2027-01-17"]) == pytest.approx(4.0)


def test_public_holidays_of_the_destination_are_not_worked() -> None:
    """gov.uk: Christmas 2027 falls on a weekend, so Monday 27 and Tuesday 28 December are bank holidays."""
    fields = {"ship_date": "2027-12-24", "routes": [CARGO | {"transit_days": fixed(3.0)}]}
    answer = compare(**fields)
    assert answer.routes[0].transit_days.mean == pytest.approx(5.0)
    assert mean_days(**fields, public_holidays=False) == pytest.approx(3.0)
    assert mean_days(**fields, open_dates=["2027-12-27"]) == pytest.approx(3.0)
    said = {item.value: item.why for item in answer.assumed if item.pointer == "/public_holidays"}
    assert set(said) == {"2027-12-27", "2027-12-28"}
    assert said["2027-12-27"].startswith("Christmas Day (observed) in GB (holidays ")
    [weekend] = [item for item in answer.assumed if item.pointer == "/open_dates"]
    assert weekend.value == "sat, sun"
    assert weekend.why.startswith("air_cargo: nothing is handed over in GB")


def test_a_holiday_at_the_origin_holds_up_the_pick_up() -> None:
    """Indonesia's Independence Day, 17 August, is a Tuesday in 2027; a box closed on it is picked up on Wednesday."""
    semarang = lane("SRG", "GLA")
    calendar = semarang.calendar()
    layovers = [origin_layover(semarang, calendar, date(2027, 8, day)) for day in (16, 17, 18, 20, 21, 22)]
    assert layovers == [0, 1, 0, 1, 2, 1]
    worked = semarang.calendar(opened=[date(2027, 8, 17)])
    assert origin_layover(semarang, worked, date(2027, 8, 17)) == 0
    answer = hold(earliest="2027-08-16", latest="2027-08-18", routes=[CARGO])
    days = {item.value for item in answer.assumed if item.pointer == "/public_holidays"}
    assert "2027-08-17" in days


def test_a_holiday_at_the_hub_keeps_the_box_there() -> None:
    """Hong Kong's general holidays: Lunar New Year 2027 on 6, 8 and 9 February; the 7th is a Sunday.

    Closed on Saturday the 6th at 8 h in Semarang, 9 h in Hong Kong: 12 h until pick-up and 0.37 of the other 108 h, it
    comes to the hub on Monday the 8th at 13 h and leaves on Wednesday. It would be opened on Wednesday the 10th.
    """
    semarang = lane("SRG", "JFK")
    assert semarang.places["hub"].country == "HK"
    hub = semarang.calendar().hub
    assert hub is not None
    assert [day for day in range(5, 12) if hub.is_closed(date(2027, 2, day))] == [6, 8, 9]
    fields = {"destination": "JFK", "ship_date": "2027-02-06", "routes": [COURIER | {"transit_days": fixed(5.0)}]}
    assert mean_days(**fields, public_holidays=False) == pytest.approx(5.0)
    assert mean_days(**fields) == pytest.approx(7.0)
    assert mean_days(**fields, open_dates=["2027-02-08"]) == pytest.approx(5.0)


def test_the_weekend_is_that_of_the_country() -> None:
    """Friday and Saturday in Saudi Arabia, Saturday and Sunday in Britain; where nothing is known, those as well."""
    assert [sorted(weekend_of(country)) for country in ("SA", "GB", "XX")] == [[4, 5], [5, 6], [5, 6]]


def test_a_recorded_opening_says_how_long_the_box_may_have_waited() -> None:
    """Opened on Monday 18 January it may have come since Saturday; on a Tuesday or, after all, on the Saturday, not."""
    glasgow = lane("SRG", "GLA")
    calendar, closed_at = glasgow.calendar(), glasgow.closing(date(2027, 1, 13))
    assert [most_waited(glasgow, calendar, closed_at, days) for days in (2.0, 3.0, 5.0, 6.0)] == [0, 0, 2, 0]
    # Closed at 1 h in Glasgow: on Sunday noon, day 4.46, and on Monday at noon it may have come since Saturday, 0 h.
    local = glasgow.local(closed_at, "destination")
    assert (local.date(), local.hour) == (date(2027, 1, 13), 1)
    assert not_before(glasgow, calendar, closed_at, 4.46) == pytest.approx(3 - 1 / 24)
    assert not_before(glasgow, calendar, closed_at, 5.46) == pytest.approx(3 - 1 / 24)
    assert not_before(glasgow, calendar, closed_at, 6.46) == pytest.approx(6.46)


def test_answers_of_one_day_share_one_calendar() -> None:
    """Holding and comparing on a Wednesday whose Saturday is not worked."""
    held = hold(earliest="2027-01-13", latest="2027-01-13", routes=THREE_DAYS)
    compared = compare(ship_date="2027-01-13", routes=THREE_DAYS).routes[0]
    [entry] = held.dates
    assert entry.margin == compared.money.margin
    assert entry.healthy == compared.plants.healthy
