"""Journeys against a slow loop in plain Python, and laws of exposure."""

import math
from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from model.exposure.box import Box
from model.exposure.damage import ClockDraws, damage_rate
from model.exposure.journey import Exposure, StreetAir, expose, follow_inside, leg_ends
from model.reference.row_types import Leg
from model.reference.tables import load_reference

Array = NDArray[np.float64]

LEGS = (
    Leg("courier", "wait", 0, 0.0, "origin", None, 0.7, "made up", "from memory"),
    Leg("courier", "flight", 1, 0.45, "origin", 14.4, 0.9, "made up", "from memory"),
    Leg("courier", "last_mile", 2, 0.55, "destination", None, 0.2, "made up", "from memory"),
)
BOX = Box(ua_w_per_k=0.96, heat_capacity_j_per_k=17_000.0)
HOURS, DRAWS = 24 * 12, 5
# The error that the thermal clock states for its sums.
SUM_ERROR = 1e-5


@dataclass(frozen=True, slots=True)
class Case:
    """Everything that `expose` takes, with weather from warm to freezing and up to nine days of travel."""

    streets: dict[str, StreetAir]
    clock: ClockDraws
    ends: Array


def street(mean_c: float, rng: np.random.Generator) -> StreetAir:
    hour = np.arange(HOURS)
    return StreetAir(
        mean_c=mean_c + 2.0 * np.sin(hour / 50.0),
        swing_c=5.0 * np.cos(2 * np.pi * (hour - 8) / 24),
        day=hour // 24,
        anomaly_c=rng.normal(0.0, 4.0, (HOURS // 24, DRAWS)),
    )


def made_case(seed: int = 4) -> Case:
    rng = np.random.default_rng(seed)
    clock = ClockDraws(
        log_q10=rng.uniform(0.2, 0.8, DRAWS),
        threshold_c=rng.normal([[13.0], [8.0]], 2.0, (2, DRAWS)),
        chill_per_day_c=rng.lognormal(-1.0, 0.7, (2, DRAWS)),
    )
    streets = {"origin": street(33.0, rng), "destination": street(-3.0, rng)}
    ends = leg_ends(LEGS, np.array([1.3, 9.0, 4.55, 0.6, 6.2]), added_days={"flight": rng.uniform(0, 1, DRAWS)})
    return Case(streets, clock, ends)


def follow_slowly(
    case: Case, box: Box, journey: int, draw: int, *, watts: float = 0.0, watt_hours_end: int = 0
) -> tuple[list[float], list[float], bool]:
    """Equivalent and chilling days of each genus and whether the pack froze: one journey, hour by hour, no arrays."""
    tau = box.heat_capacity_j_per_k / box.ua_w_per_k / 3600.0
    genera = range(len(case.clock.threshold_c))
    days, chills = [0.0 for _ in genera], [0.0 for _ in genera]
    now: float | None = None
    works = True
    end = float(case.ends[-1, journey])
    for hour in range(math.ceil(end)):
        index = next((i for i, last in enumerate(case.ends[:, journey]) if last > hour + 0.5), len(LEGS) - 1)
        leg = LEGS[index]
        air = case.streets[leg.place]
        mean = air.mean_c[hour] + air.anomaly_c[air.day[hour], draw]
        indoors = mean if leg.hold_c is None else leg.hold_c
        outside = leg.shelter * indoors + (1 - leg.shelter) * (mean + air.swing_c[hour])
        now = outside if now is None else now
        if watts and hour < watt_hours_end and now <= 0:
            works = False
        power = watts if works and hour < watt_hours_end else 0.0
        steady = outside + power / box.ua_w_per_k
        inside = steady + (now - steady) * tau * (1 - math.exp(-1 / tau))
        now = steady + (now - steady) * math.exp(-1 / tau)
        part = min(end - hour, 1.0)
        q10 = math.exp(case.clock.log_q10[draw])
        harm = 0.1 * (10 ** (max(inside - 38, 0) / 4) - 1) + 720 * max(-1 - inside, 0)
        for genus in genera:
            threshold, slope = case.clock.threshold_c[genus, draw], case.clock.chill_per_day_c[genus, draw]
            chill = slope * max(threshold - inside, 0)
            days[genus] += (q10 ** ((max(inside, threshold) - 20) / 10) + chill + harm) * part / 24
            chills[genus] += chill * part / 24
    return days, chills, not works


@pytest.mark.parametrize("packs", [0, 1], ids=["no pack", "heat pack"])
def test_exposure_is_that_of_the_slow_loop(packs: int) -> None:
    """One pack of 100 g iron over 40 h: 740 kJ / 40 h = 5.14 W, lost for good where the inside freezes."""
    case = made_case()
    box = replace(BOX, heat_pack_hours=40.0, heat_packs=packs)
    got = expose(LEGS, case.ends, case.streets, box, case.clock)
    watts = packs * 740_000 / (40 * 3600)
    for journey in range(DRAWS):
        days, chills, froze = follow_slowly(case, box, journey, journey, watts=watts, watt_hours_end=40)
        assert got.equivalent_days[:, journey] == pytest.approx(days, rel=SUM_ERROR)
        assert got.chill_dose_days[:, journey] == pytest.approx(chills, rel=SUM_ERROR, abs=1e-6)
        assert got.pack_froze[journey] == froze
    assert got.chill_dose_days.max() > 0


def constant(inside_c: float) -> dict[str, StreetAir]:
    air = StreetAir(np.full(HOURS, inside_c), np.zeros(HOURS), np.arange(HOURS) // 24, np.zeros((HOURS // 24, DRAWS)))
    return {"origin": air, "destination": air}


@pytest.mark.parametrize("inside_c", [-3.0, 4.0, 14.4, 22.0, 41.0])
def test_constant_air_costs_rate_times_days(inside_c: float) -> None:
    case = made_case()
    legs = tuple(replace(leg, hold_c=inside_c if leg.hold_c is not None else None) for leg in LEGS)
    got = expose(legs, case.ends, constant(inside_c), BOX, case.clock)
    np.testing.assert_allclose(
        got.equivalent_days, damage_rate(np.array(inside_c), case.clock) * case.ends[-1] / 24, rtol=SUM_ERROR
    )
    np.testing.assert_allclose(got.inside_c, inside_c)


@given(total=st.floats(0.01, 60.0), flight=st.floats(0.0, 20.0), hub=st.floats(0.0, 20.0), wait_h=st.floats(0.0, 72.0))
def test_legs_add_up_and_delays_land_in_their_leg(total: float, flight: float, hub: float, wait_h: float) -> None:
    legs = load_reference().legs["courier"]
    names = [leg.leg for leg in legs]
    days = np.array([total])
    plain = leg_ends(legs, days, added_days={}, wait_h=wait_h)[:, 0]
    late = leg_ends(legs, days, added_days={"flight": flight, "hub": np.array([hub])}, wait_h=wait_h)[:, 0]
    assert plain[-1] == pytest.approx(24 * total)
    assert plain[0] == pytest.approx(min(wait_h, 12 * total))  # the wait, capped at half of the total
    longer = dict(zip(names, np.diff(late, prepend=0) - np.diff(plain, prepend=0), strict=True))
    expected = dict.fromkeys(names, 0.0) | {"flight": 24 * flight, "hub": 24 * hub}
    assert longer == pytest.approx(expected, abs=1e-6)
    shares = np.diff(plain[1:] - plain[0]) / (plain[-1] - plain[0])
    np.testing.assert_allclose(shares, [leg.share for leg in legs[2:]], atol=1e-9)


def test_an_unknown_leg_cannot_be_delayed() -> None:
    with pytest.raises(ValueError, match="barge"):
        leg_ends(LEGS, np.array([3.0]), added_days={"barge": 1.0})


@settings(max_examples=25, deadline=None)
@given(total=st.floats(0.2, 6.0), more=st.floats(0.0, 4.0), seed=st.integers(0, 50))
def test_a_later_opening_never_lowers_equivalent_days(total: float, more: float, seed: int) -> None:
    """The last leg is lengthened, so that the way up to it is the same."""
    case = made_case(seed)
    ends = [leg_ends(LEGS, np.full(DRAWS, total), added_days={"last_mile": late}) for late in (0.0, more)]
    shorter, longer = (expose(LEGS, end, case.streets, BOX, case.clock) for end in ends)
    assert (longer.equivalent_days >= shorter.equivalent_days * (1 - SUM_ERROR)).all()
    assert (longer.chill_dose_days >= shorter.chill_dose_days * (1 - SUM_ERROR)).all()


def taken(case: Case, draw_of: NDArray[np.intp]) -> tuple[dict[str, StreetAir], ClockDraws]:
    streets = {name: replace(air, anomaly_c=air.anomaly_c[:, draw_of]) for name, air in case.streets.items()}
    clock = case.clock
    return streets, ClockDraws(clock.log_q10[draw_of], clock.threshold_c[:, draw_of], clock.chill_per_day_c[:, draw_of])


def assert_same(got: Exposure, expected: Exposure) -> None:
    np.testing.assert_allclose(got.equivalent_days, expected.equivalent_days, rtol=SUM_ERROR)
    np.testing.assert_allclose(got.chill_dose_days, expected.chill_dose_days, rtol=SUM_ERROR)
    np.testing.assert_array_equal(got.pack_froze, expected.pack_froze)
    assert len(got.inside_c) == len(expected.inside_c)


def test_journeys_take_weather_and_parameters_of_their_draw() -> None:
    case = made_case()
    draw_of = np.array([3, 0, 3, 1, 4, 4, 2], dtype=np.intp)
    ends = leg_ends(LEGS, np.array([2.2, 7.0, 3.1, 8.0, 0.4, 5.0, 1.0]), added_days={})
    streets, clock = taken(case, draw_of)
    assert_same(
        expose(LEGS, ends, case.streets, BOX, case.clock, draw_of=draw_of), expose(LEGS, ends, streets, BOX, clock)
    )


def test_order_of_journeys_does_not_matter() -> None:
    case = made_case()
    box = replace(BOX, heat_pack_hours=40.0, heat_packs=1)
    order = np.array([4, 2, 0, 3, 1], dtype=np.intp)
    plain = expose(LEGS, case.ends, case.streets, box, case.clock)
    mixed = expose(LEGS, case.ends[:, order], case.streets, box, case.clock, draw_of=order)
    back = np.argsort(order)
    assert_same(
        replace(mixed, equivalent_days=mixed.equivalent_days[:, back],
                chill_dose_days=mixed.chill_dose_days[:, back], pack_froze=mixed.pack_froze[back]),
        plain,
    )  # fmt: skip


def test_a_journey_among_ten_thousand_is_what_it_is_alone() -> None:
    """Many are taken in parts: each of them costs the same, warns the same and keeps its place."""
    case = made_case()
    box = replace(BOX, heat_pack_hours=40.0, heat_packs=1)
    alone = expose(LEGS, case.ends, case.streets, box, case.clock)
    which = np.random.default_rng(8).integers(0, DRAWS, 10_000)
    among = expose(LEGS, case.ends[:, which], case.streets, box, case.clock, draw_of=which)
    np.testing.assert_allclose(among.equivalent_days, alone.equivalent_days[:, which], rtol=SUM_ERROR)
    np.testing.assert_allclose(among.chill_dose_days, alone.chill_dose_days[:, which], rtol=SUM_ERROR)
    np.testing.assert_array_equal(among.pack_froze, alone.pack_froze[which])
    assert np.quantile(among.inside_c, 0.5) == pytest.approx(np.quantile(alone.inside_c, 0.5), abs=1.5)


@pytest.mark.parametrize(("inside_c", "packs", "froze"), [(-20.0, 1, True), (-20.0, 0, False), (15.0, 1, False)])
def test_only_a_pack_that_is_there_and_freezes_is_reported(inside_c: float, packs: int, froze: bool) -> None:
    case = made_case()
    box = replace(BOX, heat_pack_hours=72.0, heat_packs=packs)
    legs = tuple(replace(leg, hold_c=None) for leg in LEGS)
    assert (expose(legs, case.ends, constant(inside_c), box, case.clock).pack_froze == froze).all()


def test_a_pack_that_would_freeze_after_the_opening_is_not_reported() -> None:
    """Opened after 9 h in mild air, hard frost from the 10th hour on: the box never met it."""
    frost = np.where(np.arange(HOURS) < 10, 4.0, -60.0)
    air = StreetAir(frost, np.zeros(HOURS), np.arange(HOURS) // 24, np.zeros((HOURS // 24, DRAWS)))
    legs = tuple(replace(leg, hold_c=None) for leg in LEGS)
    ends = leg_ends(legs, np.array([9.0, 9.0, 9.0, 40.0, 9.0]) / 24, added_days={})
    box = replace(BOX, heat_pack_hours=72.0, heat_packs=1)
    streets = {"origin": air, "destination": air}
    froze = expose(legs, ends, streets, box, made_case().clock).pack_froze
    assert froze.tolist() == [False, False, False, True, False]


def test_inside_temperatures_are_sampled_while_boxes_are_closed() -> None:
    """A handful of journeys: all of them, one temperature for each whole hour."""
    case = made_case()
    got = expose(LEGS, case.ends, case.streets, BOX, case.clock)
    assert len(got.inside_c) == int(np.floor(case.ends[-1]).sum())
    assert -20 < got.inside_c.min() < got.inside_c.max() < 55


def test_what_a_logger_tells_is_the_air_followed_hour_by_hour() -> None:
    case = made_case()
    found = expose(LEGS, case.ends, case.streets, BOX, case.clock, logged=True).logger
    assert found is not None
    inside, counted = follow_inside(LEGS, case.ends, case.streets, BOX)
    assert found.mean_c == pytest.approx((inside * counted).sum(axis=0) / counted.sum(axis=0), abs=1e-4)
    assert found.coldest_c == pytest.approx(np.where(counted > 0, inside, np.inf).min(axis=0), abs=1e-4)
