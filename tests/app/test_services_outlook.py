"""The outlook of a box in transit: against the plan's own forecast, simulation by rejection, and hand arithmetic."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from app.batch.batch import prepare
from app.outlook.open_journey import Note
from app.outlook.outlook import BoxOnItsWay, moment_of, outlook_of
from app.problems import InvalidInput
from app.schemas.outlook import Help, OutlookAnswer
from tests.app.batches import (
    CARGO,
    COURIER,
    EVERY_DAY,
    PAPERS,
    Fields,
    compare,
    compare_request,
    engine,
    fixed,
    simulation,
)

SPREAD: Fields = {"p10": 3, "p50": 5, "p90": 10}
BY_COURIER: Fields = {"routes": [COURIER | {"transit_days": SPREAD}], "draws": 4096}
# Closed at 8 in the morning, as the plan has it; Semarang is 7 hours ahead of Greenwich.
LEFT = datetime(2027, 1, 11, 1, tzinfo=UTC)


def outlook(day: float, *notes: tuple[float, str], left: datetime | None = LEFT, **fields: Any) -> OutlookAnswer:
    """Return the outlook some days after the box left, with notes of (day, kind)."""
    begun = LEFT if left is None else left
    told = tuple(Note(begun + timedelta(days=at), kind) for at, kind in notes)
    request = compare_request(**BY_COURIER | fields)
    return outlook_of(BoxOnItsWay(request, left, told), begun + timedelta(days=day), engine())


def helps(answer: OutlookAnswer) -> dict[str, Help]:
    return {entry.code: entry for entry in answer.helps}


def codes(answer: OutlookAnswer) -> set[str]:
    return {caution.code for caution in answer.cautions}


def by_rejection(day: float, n_seeds: int, **fields: Any) -> tuple[np.ndarray, list[float]]:
    """Return days left, and the mean chance that a plant of each line is healthy, over plain journeys that last."""
    left, healthy = [], []
    for seed in range(100, 100 + n_seeds):
        request = compare_request(**BY_COURIER | fields | {"seed": seed})
        drawn, weather = simulation(request)
        plan = prepare(request, engine()).routes[0].plan
        [journey] = drawn.journeys(plan, request.ship_date, weather)
        kept = journey.days > day
        left.append(journey.days[kept] - day)
        healthy.append([chance[kept] for chance, _ in drawn.plant_chances(plan, journey.exposure)])
    means = [float(np.concatenate([seed[i] for seed in healthy]).mean()) for i in range(len(healthy[0]))]
    return np.concatenate(left), means


def test_a_box_that_has_just_left_has_its_forecast() -> None:
    """The same draws: what the plan's comparison says, but that it counts plants."""
    answer, planned = outlook(0.0), compare(**BY_COURIER).routes[0]
    assert answer.days_left.model_dump() == pytest.approx(planned.transit_days.model_dump(), rel=1e-6)
    for line, forecast in zip(answer.lines, planned.lines, strict=True):
        assert line.healthy.mean * line.quantity == pytest.approx(forecast.healthy.mean, rel=0.01)
        assert line.dead.mean * line.quantity == pytest.approx(forecast.dead.mean, rel=0.03, abs=0.02)


@pytest.mark.parametrize(
    ("day", "fields"),
    [
        (4.0, {}),
        (9.0, {}),
        (9.0, {"paperwork": PAPERS | {"invoice": False, "waybill_copy": False}}),
        (3.0, {"routes": [CARGO]}),
        # Friday to Sunday closed: seen on the Saturday, and on the Monday morning.
        (5.3, {"closed_dates": ["2027-01-15", "2027-01-16", "2027-01-17"]}),
        (7.2, {"closed_dates": ["2027-01-15", "2027-01-16", "2027-01-17"]}),
    ],
)
def test_it_agrees_with_plain_journeys_that_last_so_long(day: float, fields: Fields) -> None:
    left, healthy = by_rejection(day, 24, **fields)
    assert left.size > 4000
    answer = outlook(day, **fields)
    spread = 4.0 * left.std() / np.sqrt(left.size) + 0.01
    assert answer.days_left.mean == pytest.approx(left.mean(), abs=spread)
    quantiles = [answer.days_left.p10, answer.days_left.p50, answer.days_left.p90]
    np.testing.assert_allclose(quantiles, np.quantile(left, [0.1, 0.5, 0.9]), rtol=0.06, atol=0.05)
    for line, mean in zip(answer.lines, healthy, strict=True):
        assert line.healthy.mean == pytest.approx(mean, abs=0.02)


def test_far_late_it_is_sane() -> None:
    """Day 18 of a service with p90 = 10: days left, not minutes or months, and plants mostly lost."""
    on_time, late = outlook(2.0), outlook(18.0)
    assert 1.0 < late.days_left.p50 < 6.0
    assert late.days_left.mean < 8.0
    assert late.lines[0].healthy.mean < 0.5 * on_time.lines[0].healthy.mean
    for line in late.lines:
        assert line.healthy.mean + line.damaged.mean + line.dead.mean == pytest.approx(1.0, abs=1e-9)
        assert line.healthy.low <= line.healthy.mean <= line.healthy.high
        assert line.healthy_two_weeks.mean <= line.healthy.mean
    assert "far_late" in codes(outlook(25.0))
    assert "far_late" not in codes(outlook(9.0))


@pytest.mark.parametrize("notes", [(), ((2.0, "in_clearance"),), ((2.0, "at_hub"), (3.0, "held"))])
@pytest.mark.parametrize("transit", [SPREAD, fixed(5.0), {"p10": 4.9, "p50": 5, "p90": 5.1}])
@pytest.mark.parametrize("day", [60.0, 1000.0])
def test_no_wait_is_beyond_the_plan(day: float, transit: Fields, notes: tuple[tuple[float, str], ...]) -> None:
    service = COURIER if notes else CARGO
    answer = outlook(day, *notes, routes=[service | {"transit_days": transit}])
    assert 0.02 < answer.days_left.p50 < 120.0
    assert answer.lines[0].dead.mean > 0.9


def test_chances_by_day_are_local_days_that_rise() -> None:
    """Three days on it is Thursday; the last chance is the first over 0.99, of at most 30 days."""
    rows = outlook(3.0).arrival_by
    assert rows[0].date == date(2027, 1, 14)
    assert [row.date - rows[0].date for row in rows] == [timedelta(days=i) for i in range(len(rows))]
    chances = [row.chance for row in rows]
    assert chances == sorted(chances)
    assert chances[-2] <= 0.99 < chances[-1]
    assert len(outlook(60.0).arrival_by) <= 30


def test_chances_by_day_are_those_of_the_plan_given_so_long() -> None:
    plan = prepare(compare_request(**BY_COURIER), engine()).routes[0].plan
    rows = outlook(3.0, **EVERY_DAY).arrival_by
    # The day in Glasgow ends 23 hours after one in the morning.
    ends = [(row.date - LEFT.date()).days + 23.0 / 24.0 for row in rows]
    expected = 1.0 - np.exp(plan.transit.log_sf(ends) - plan.transit.log_sf(3.0))
    np.testing.assert_allclose([row.chance for row in rows], expected, atol=6e-3)


def test_closed_days_open_no_box() -> None:
    rows = outlook(3.0, closed_dates=["2027-01-15", "2027-01-16", "2027-01-17"]).arrival_by
    by_day = {row.date.day: row.chance for row in rows}
    assert by_day[14] == by_day[15] == by_day[16] == by_day[17] < by_day[18]
    # The 16th is a Saturday.
    by_day = {row.date.day: row.chance for row in outlook(3.0).arrival_by}
    assert by_day[14] < by_day[15] == by_day[16] == by_day[17] < by_day[18] < by_day[19]


def test_a_leg_further_on_leaves_less() -> None:
    """Of the table, clearance and last mile are 0.30 of the time after 12 h: 5 days leave 0.3 x 4.5 from there."""
    one_fixed: Fields = EVERY_DAY | {"routes": [COURIER | {"transit_days": fixed(5.0)}]}
    answer = outlook(3.0, (1.0, "at_hub"), (3.0, "in_clearance"), **one_fixed)
    assert answer.leg == "clearance"
    assert answer.days_left.p50 == pytest.approx(0.3 * 4.5)
    assert outlook(3.0, (3.0, "at_hub"), **one_fixed).days_left.p50 == pytest.approx(0.63 * 4.5)
    told = [((3.0, "in_clearance"),), ((2.0, "at_hub"),), ()]
    means = [outlook(4.0, *notes, **EVERY_DAY).days_left.mean for notes in told]
    assert means == sorted(means)
    assert means[0] < 0.6 * means[2]


def test_a_hold_lengthens_and_a_release_ends_it() -> None:
    seen, held = (outlook(5.0, (4.0, "in_clearance"), *more, **EVERY_DAY) for more in ((), ((4.5, "held"),)))
    assert (seen.held, held.held) == (False, True)
    assert held.days_left.mean > seen.days_left.mean + 1.0
    assert held.lines[0].healthy.mean < seen.lines[0].healthy.mean
    released = outlook(5.5, (4.0, "in_clearance"), (4.5, "held"), (5.0, "released"))
    assert not released.held
    # Half a day of the time since clearance began was a hold: as a box seen there half a day later.
    assert released.days_left.model_dump() == pytest.approx(outlook(5.5, (4.5, "in_clearance")).days_left.model_dump())


def test_a_box_seen_and_held_at_one_moment_is_held_there() -> None:
    answer = outlook(5.0, (4.0, "held"), (4.0, "in_clearance"))
    assert (answer.leg, answer.held) == ("clearance", True)


def test_notes_of_later_do_not_count() -> None:
    known = outlook(4.0, (3.0, "at_hub"))
    assert outlook(4.0, (3.0, "at_hub"), (4.5, "in_clearance"), (5.0, "held")) == known


def test_a_note_for_a_leg_that_the_service_has_not_is_said_to_be_left_out() -> None:
    answer = outlook(1.0, (0.8, "at_hub"), routes=[CARGO])
    assert answer.leg is None
    assert "note_without_leg" in codes(answer)
    assert "note_without_leg" not in codes(outlook(0.5, (0.8, "at_hub"), routes=[CARGO]))


def test_the_heat_pack_lasts_its_hours_from_the_closing() -> None:
    assert outlook(1.0).heat_pack_ends_at == LEFT + timedelta(hours=72)
    packing = {"container": "foam_box", "roots": "damp_wrap", "capacity": 60}
    assert outlook(1.0, packing=packing).heat_pack_ends_at is None


def test_collecting_saves_the_last_mile() -> None:
    """Of a fixed 5 days it is 0.12 of 4.5, until it has begun; air cargo is collected anyway."""
    one_fixed: Fields = EVERY_DAY | {"routes": [COURIER | {"transit_days": fixed(5.0)}]}
    found = helps(outlook(2.0, **one_fixed))["collect_yourself"]
    assert found.days_sooner == pytest.approx(0.12 * 4.5, rel=0.01)
    assert found.healthy_gain is not None
    assert found.healthy_gain > 0
    assert "collect_yourself" not in helps(outlook(4.9, **one_fixed))
    assert "collect_yourself" not in helps(outlook(1.0, routes=[CARGO]))


def test_papers_are_chased_where_they_are_missing_or_the_box_is_held() -> None:
    """Missing papers cost a courier 2.5 days in the median, mean exp(0.5^2 / 2) times that; a day of it stays."""
    missing: Fields = {"paperwork": PAPERS | {"invoice": False}, "routes": [COURIER | {"transit_days": fixed(5.0)}]}
    found = helps(outlook(1.0, **missing))["chase_papers"]
    wait = 2.5 * np.exp(0.5 * np.random.default_rng(1).standard_normal(200_000))
    clearance = 0.18 * 4.5
    assert found.days_sooner == pytest.approx(np.clip(clearance + wait - 1.0, 0.0, wait).mean(), rel=0.03)
    assert "chase_papers" not in helps(outlook(1.0))
    held = helps(outlook(6.0, (4.0, "in_clearance"), (5.0, "held")))["chase_papers"]
    assert held.days_sooner is not None
    assert held.days_sooner > 0.5


def test_the_operator_is_asked_about_a_late_silent_or_held_box() -> None:
    assert "ask_operator" not in helps(outlook(2.0))
    assert "nothing was heard for 4 days" in helps(outlook(4.0))["ask_operator"].text
    assert "ask_operator" not in helps(outlook(4.0, (3.5, "at_hub")))
    assert "it is held up" in helps(outlook(4.0, (3.5, "held")))["ask_operator"].text
    # 90 of 100 are here by day 10, the plan's p90.
    assert "of 100 boxes would be here by now" in helps(outlook(10.5, (10.4, "at_hub")))["ask_operator"].text
    assert "would be here by now" not in helps(outlook(9.5))["ask_operator"].text


def test_a_warm_room_is_asked_for_only_where_it_gets_cold() -> None:
    assert "ask_warm_room" in helps(outlook(4.0))
    assert "ask_warm_room" not in helps(outlook(1.0)), "the heat pack still lasts"
    tropical: Fields = {"origin": "SRG", "destination": "SIN"}
    assert "ask_warm_room" not in helps(outlook(4.5, (4.4, "in_clearance"), **tropical))


def test_a_warm_room_no_longer_helps_what_is_behind() -> None:
    """From Glasgow in January to Singapore without a pack: chilled on the way, warm where it waits."""
    packing = {"container": "carton", "roots": "damp_wrap", "capacity": 60}
    behind: Fields = {"origin": "GLA", "destination": "SIN", "packing": packing}
    answer = outlook(5.0, (4.5, "in_clearance"), **behind)
    assert "cold_inside" in codes(answer)
    assert "ask_warm_room" not in helps(answer)


def test_missing_papers_are_in_the_plan_that_a_late_box_is_held_against() -> None:
    """A fixed 5 days and papers of 2.5 in the median: on day 8 Phi(ln(3 / 2.5) / 0.5) = 64 of 100 are here."""
    late: Fields = {"routes": [COURIER | {"transit_days": fixed(5.0)}]}
    assert "would be here by now" in helps(outlook(8.0, (7.9, "at_hub"), **late))["ask_operator"].text
    missing = late | {"paperwork": PAPERS | {"invoice": False}}
    assert "ask_operator" not in helps(outlook(8.0, (7.9, "at_hub"), **missing))


def test_a_departure_that_is_not_recorded_is_taken_as_planned() -> None:
    answer = outlook(3.0, left=None)
    assert "departure_assumed" in codes(answer)
    assert answer.days_left == outlook(3.0).days_left
    noted = outlook(3.0, (0.5, "departed"), left=None)
    assert "departure_assumed" not in codes(noted)
    assert noted.elapsed_days == pytest.approx(2.5)


def test_before_the_departure_there_is_no_outlook() -> None:
    with pytest.raises(InvalidInput) as refused:
        outlook(-0.1)
    assert [error.pointer for error in refused.value.errors] == ["/at"]


def test_what_was_to_be_settled_before_departure_is_not_said_again() -> None:
    said = codes(outlook(3.0, paperwork={}))
    assert not said & {"papers_assumed", "heat_pack_brands", "duty_and_tax"}
    assert {"late_damage", "residues", "isolate", "claim_window"} <= said


def test_moments_are_read_with_their_offset() -> None:
    """A plus sign that was not encoded arrives as a space."""
    expected = datetime(2027, 1, 12, 1, tzinfo=UTC)
    for text in ("2027-01-12T08:00:00+07:00", "2027-01-12T08:00:00 07:00", "2027-01-12T01:00Z"):
        assert moment_of(text) == expected
    for text in ("2027-01-12T08:00:00", "2027-01-12", "now", "", "9999-12-31T00:00:00Z", "1768179600"):
        with pytest.raises(InvalidInput):
            moment_of(text)


def test_equal_questions_have_equal_answers() -> None:
    assert outlook(7.0, (2.0, "at_hub")) == outlook(7.0, (2.0, "at_hub"))
