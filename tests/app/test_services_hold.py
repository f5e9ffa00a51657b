"""Ship now or hold: one entry a day and route, blocked dates, the cost of waiting, and agreement with comparing."""

from datetime import date, timedelta

import pytest

from app.schemas.hold import HoldAnswer, HoldDate
from tests.app.batches import COURIER, EVERY_DAY, Fields, compare, fixed, hold

MONDAY = date(2027, 1, 11)
SPAN: Fields = {"earliest": "2027-01-11", "latest": "2027-01-20", "draws": 512}
QUICK: Fields = COURIER | {"transit_days": fixed(4.0)}


def blocked(answer: HoldAnswer) -> dict[int, list[str]]:
    """Return why each day of January is blocked on the first route."""
    first = answer.dates[0].route
    return {entry.ship_date.day: list(entry.blocked_by) for entry in answer.dates if entry.route == first}


def open_dates(answer: HoldAnswer) -> list[HoldDate]:
    """Return the entries that are not blocked."""
    return [entry for entry in answer.dates if not entry.blocked_by]


def test_one_entry_a_day_and_route_in_order_blocked_ones_too() -> None:
    answer = hold(**SPAN, skip_weekdays=["sat", "sun"])
    days = [MONDAY + timedelta(days=i) for i in range(10)]
    assert [(e.ship_date, e.route) for e in answer.dates] == [(d, r) for d in days for r in ("courier", "air cargo")]
    assert {day for day, why in blocked(answer).items() if why == ["skipped_weekday"]} == {16, 17}


@pytest.mark.parametrize(
    ("paper", "fields", "code"),
    [
        ("certificate", {"issued": "2027-01-09", "valid_days": 5}, "certificate_lapsed"),
        ("treatment", {"done": "2027-01-09", "valid_days": 5}, "treatment_lapsed"),
    ],
)
def test_n_valid_days_from_day_d_cover_d_to_d_plus_n(paper: str, fields: Fields, code: str) -> None:
    answer = hold(**SPAN, **{paper: fields})
    assert {day for day, why in blocked(answer).items() if code in why} == set(range(15, 21))
    assert blocked(answer)[14] == []
    assert f"{paper}_lapses" in {caution.code for caution in answer.cautions}


@pytest.mark.parametrize("valid_days", [0, 1])
def test_paper_covers_no_departure_before_its_own_day(valid_days: int) -> None:
    answer = hold(**SPAN, certificate={"issued": "2027-01-13", "valid_days": valid_days})
    assert {entry.ship_date.day for entry in open_dates(answer)} == set(range(13, 14 + valid_days))


def test_too_late_is_after_the_day_it_is_needed_by() -> None:
    # Closed on day d at 8 h in Semarang, 1 h in Glasgow, and opened 4 days later, early on day d + 4; those of Tuesday
    # and Wednesday come at the weekend and are opened on Monday the 18th.
    answer = hold(**SPAN, routes=[QUICK], needed_by="2027-01-17", skip_weekdays=["fri", "sat", "sun"])
    assert {day for day, why in blocked(answer).items() if "too_late" in why} == set(range(12, 21))
    assert {entry.ship_date.day for entry in open_dates(answer)} == {11}


def test_too_late_looks_at_the_chance_and_the_confidence() -> None:
    # From Monday, 1 h, to the end of Saturday is 5.96 days; p50 = 5, p90 = 10: the chance is between a half and 0.9.
    routes = [COURIER | {"transit_days": {"p10": 3, "p50": 5, "p90": 10}}]
    for confidence, late in ((0.5, False), (0.9, True)):
        answer = hold(**SPAN, **EVERY_DAY, routes=routes, needed_by="2027-01-16", risk={"confidence": confidence})
        assert ("too_late" in blocked(answer)[11]) == late


def test_all_blocked_recommends_nothing() -> None:
    answer = hold(**SPAN, skip_weekdays=["mon", "tue", "wed", "thu", "fri", "sat", "sun"])
    assert answer.recommended is None
    assert answer.lead == "Every date is blocked: each is a day without departure."
    assert all(entry.chance_better_than_first is None for entry in answer.dates)


def test_waiting_costs_by_the_day_and_nothing_else_changes() -> None:
    free, dear = hold(**SPAN), hold(**SPAN, cost_per_day=7.5)
    for one, other in zip(free.dates, dear.dates, strict=True):
        waited = (one.ship_date - MONDAY).days
        assert one.margin_mean - other.margin_mean == pytest.approx(7.5 * waited, abs=1e-6)
        assert one.healthy == other.healthy
    pointers = {assumed.pointer for assumed in free.assumed} - {assumed.pointer for assumed in dear.assumed}
    assert pointers == {"/cost_per_day"}


def test_chance_better_is_against_the_first_open_date_of_the_route() -> None:
    answer = hold(**SPAN, skip_weekdays=["mon"])
    for route in ("courier", "air cargo"):
        own = [entry for entry in answer.dates if entry.route == route]
        assert [entry.chance_better_than_first for entry in own[:2]] == [None, None]
        assert all(entry.chance_better_than_first is not None for entry in own[2:])
    # A wait that costs more than a batch can earn is never better.
    dear = hold(**SPAN, cost_per_day=5000)
    assert {entry.chance_better_than_first for entry in dear.dates[2:]} == {0.0}


def test_dates_about_equal_share_a_group_and_the_first_of_the_best_is_taken() -> None:
    answer = hold(**SPAN, skip_weekdays=["mon", "tue"])
    assert answer.recommended is not None
    assert (answer.recommended.ship_date, answer.recommended.route) == (date(2027, 1, 13), "courier")
    groups = {entry.ship_date.day: entry.group for entry in answer.dates if entry.route == "courier"}
    # Wednesday and Thursday travel alike; a box closed on Friday to Sunday lies over the weekend.
    assert groups[13] == groups[14] == groups[20] == 1
    assert all((groups[day] or 0) > 1 for day in (15, 16, 17))
    assert groups[11] is groups[18] is None
    assert answer.lead.startswith(
        "Wednesday and Thursday are equal: ship on 2027-01-13 by courier; avoid Friday to Sunday (up to "
    )
    assert answer.reason.startswith(answer.lead)


def test_group_ends_where_the_cost_of_waiting_counts() -> None:
    """In a carton in the cold the luck of the weather hides more than a wait of two weeks costs: it is paid anyway."""
    packing = {"container": "carton", "roots": "dry", "capacity": 60}
    answer = hold(**SPAN | {"latest": "2027-01-28"}, routes=[QUICK], packing=packing, cost_per_day=4)
    noise = max(entry.against_first.noise for entry in answer.dates if entry.against_first)
    landed = compare(ship_date="2027-01-11", routes=[QUICK], packing=packing).routes[0].money.landed_cost
    # About nothing is up to 2 % of the landed cost, that of the longest wait.
    least = 0.02 * (landed + 4 * 17)
    assert noise > 2 * least
    days: dict[int, list[int]] = {}
    for entry in answer.dates:
        days.setdefault(entry.group or 0, []).append(4 * (entry.ship_date - MONDAY).days)
    assert all(max(own) - min(own) <= least for own in days.values())
    assert len(days) < len(answer.dates)


def test_past_days_are_blocked_and_nobody_waits_for_them() -> None:
    answer = hold(**SPAN, today="2027-01-13", cost_per_day=7.5)
    assert {day for day, why in blocked(answer).items() if "past" in why} == {11, 12}
    assert answer.recommended is not None
    assert answer.recommended.ship_date >= date(2027, 1, 13)
    free = hold(**SPAN, today="2027-01-13")
    assert open_dates(answer)[0].margin_mean == pytest.approx(open_dates(free)[0].margin_mean)
    assert hold(**SPAN, today="2027-03-01").lead == "Every date is blocked: each is past."


def test_difference_from_shipping_first_is_that_of_paired_draws() -> None:
    answer = hold(**SPAN, cost_per_day=7.5)
    courier = {entry.ship_date.day: entry for entry in answer.dates if entry.route == "courier"}
    first, later = courier[11], courier[13]
    assert first.against_first is None
    assert later.against_first is not None
    assert later.against_first.margin.mean == pytest.approx(later.margin_mean - first.margin_mean)
    healthy = later.healthy_two_weeks.mean - first.healthy_two_weeks.mean
    assert later.against_first.healthy_two_weeks.mean == pytest.approx(healthy)
    # The same draws: far narrower than two shipments that have nothing in common.
    width = later.against_first.margin.p95 - later.against_first.margin.p05
    assert width < 0.5 * (first.margin.p95 - first.margin.p05)


def test_a_wait_that_costs_is_not_recommended() -> None:
    answer = hold(**SPAN, skip_weekdays=["mon", "tue"], cost_per_day=60)
    best = max(open_dates(answer), key=lambda entry: entry.margin_mean)
    assert answer.recommended is not None
    assert answer.recommended.ship_date == best.ship_date == date(2027, 1, 13)


def test_cold_week_is_waited_out() -> None:
    days = [{"date": f"2027-01-{day}", "min_c": -14, "max_c": -8} for day in range(11, 18)]
    mild = [{"date": f"2027-01-{day}", "min_c": 12, "max_c": 16} for day in range(18, 30)]
    packing = {"container": "carton", "roots": "damp_wrap", "capacity": 60}
    answer = hold(**SPAN, routes=[QUICK], packing=packing, forecast={"GLA": days + mild}, skip_weekdays=["sat", "sun"])
    assert answer.recommended is not None
    assert answer.recommended.ship_date >= date(2027, 1, 18)
    chosen = next(entry for entry in answer.dates if entry.ship_date == answer.recommended.ship_date)
    assert chosen.chance_better_than_first is not None
    assert chosen.chance_better_than_first > 0.5
    assert answer.lead.startswith(f"Hold until {answer.recommended.ship_date} and ship by courier: ")
    assert "more on average than on 2027-01-11, better with" in answer.lead


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"risk": {"max_loss_share": 0.0, "confidence": 0.999}}, "No date keeps the loss"),
        ({"damaged_value_share": 0, "costs": {"other": 5000}}, "Do not order at these prices"),
    ],
)
def test_no_date_is_good_enough(fields: Fields, words: str) -> None:
    answer = hold(**SPAN, **fields)
    assert answer.recommended is None
    assert answer.reason.startswith(words)
    if words.startswith("No date"):
        least = max(answer.dates, key=lambda entry: entry.chance_loss_within_limit)
        assert f"the least bad, {least.ship_date} by {least.route}, keeps it with" in answer.lead
        assert answer.lead.endswith(f", margin {least.margin_mean:,.0f} GBP.")
        assert " in the worst 1 in 20." in answer.reason


def test_weekend_adds_a_layover_to_boxes_closed_towards_it() -> None:
    # Fewer healthy than on Thursday, under the same weather: the usual layover is 1 day on Friday, 2 on Saturday.
    answer = hold(**SPAN, routes=[COURIER])
    healthy = {entry.ship_date.day: entry.healthy_mean for entry in answer.dates}
    assert healthy[16] < healthy[15] < healthy[14]


@pytest.mark.parametrize("day", ["2027-01-11", "2027-01-14", "2027-01-19"])
def test_a_date_answers_as_comparing_on_that_date(day: str) -> None:
    """Monday to Thursday, where no layover is added; the first date shares even its weather draws."""
    answer, alone = hold(**SPAN | {"draws": 1024}), compare(ship_date=day)
    own = [entry for entry in answer.dates if entry.ship_date.isoformat() == day]
    for entry, route in zip(own, alone.routes, strict=True):
        if day == SPAN["earliest"]:
            assert entry.margin == route.money.margin
            assert entry.healthy == route.plants.healthy
        assert entry.healthy_mean == pytest.approx(route.plants.healthy.mean, abs=0.5)
        assert entry.chance_loss_within_limit == pytest.approx(route.chance_loss_within_limit, abs=0.02)


def test_same_seed_same_bytes() -> None:
    assert hold(**SPAN).model_dump_json() == hold(**SPAN).model_dump_json()
