"""Break-even: a root, in closed form, by brute force in exact fractions, and against the landed cost itself."""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.decision.break_even import RouteEconomics, break_even, overtakes
from model.decision.landed_cost import PlantLine, Waybill, landed_cost

repeatable = settings(derandomize=True, deadline=None)
LARGEST = 400


def route(
    name: str, gain: float, box: float, waybill: float = 0.0, per_box: int = 10**6, **more: float
) -> RouteEconomics:
    """A route by its bare numbers; one box for everything unless said otherwise."""
    return RouteEconomics(
        name=name,
        gain_per_plant=gain,
        cost_per_box=box,
        cost_per_waybill=waybill,
        cost_per_order=more.get("order", 0.0),
        plants_per_box=per_box,
        apart=bool(more.get("apart", False)),
    )


@st.composite
def pairs(draw: st.DrawFn) -> tuple[RouteEconomics, RouteEconomics]:
    """Two routes with gains and costs in whole cents."""
    cents = st.integers(0, 40_000).map(lambda c: c / 100)
    per_box = draw(st.integers(1, 60))

    def one(name: str) -> RouteEconomics:
        gain = draw(st.integers(-500, 3_000)) / 100
        return route(name, gain, draw(cents), draw(cents), per_box, order=draw(cents), apart=draw(st.booleans()))

    return one("first"), one("second")


def exact_margin(economics: RouteEconomics, plants: int) -> Fraction:
    """Mean margin in exact fractions of cents, box by box."""
    boxes = -(-plants // int(economics.plants_per_box))

    def cents(value: float) -> Fraction:
        return Fraction(round(100 * value), 100)

    return (
        plants * cents(economics.gain_per_plant)
        - boxes * cents(economics.cost_per_box)
        - (boxes if economics.apart else 1) * cents(economics.cost_per_waybill)
        - cents(economics.cost_per_order)
    )


def test_closed_form_in_one_box() -> None:
    # 3 a plant more against 90 more: 90 / 3 = 30 plants; mix 2 to 1 of 30 and 15: 25 a plant on average
    found = break_even(route("courier", 8, 190), route("cargo", 5, 100), quantities=[20, 10], sale_values=[30, 15])
    assert found is not None
    assert (found.from_, found.to, found.plants) == ("cargo", "courier", 30)
    assert found.batch_sale_value == 30 * 25


def test_a_tie_in_decimals_is_not_lost_to_rounding() -> None:
    # (0.6 - 0.1) x 30 = 16.1 - 1.1 exactly; in floating point 30 x 0.6 - 16.1 falls short of 30 x 0.1 - 1.1
    found = overtakes(route("a", 0.1, 1.1), route("b", 0.6, 16.1), sale_value_per_plant=1)
    assert found is not None
    assert found.plants == 30


def test_it_is_the_first_batch_although_a_new_box_throws_it_back() -> None:
    # 1.5 a plant more against 40 a box more, 40 plants a box. Box 1 is paid from plant 27 on (40.5), 41 plants in two
    # boxes give 61.5 < 80.
    found = overtakes(route("a", 5, 100, per_box=40), route("b", 6.5, 140, per_box=40), sale_value_per_plant=1)
    assert found is not None
    assert found.plants == 27


@pytest.mark.parametrize(
    ("cheaper", "dearer"),
    [
        (route("a", 5, 100), route("b", 5, 101)),  # never
        (route("a", 5, 100), route("b", 5.0001, 200)),  # past the largest batch looked at
        (route("a", 5, 100), route("b", 50, 110)),  # ahead with the first plant
    ],
)
def test_no_break_even(cheaper: RouteEconomics, dearer: RouteEconomics) -> None:
    assert break_even(cheaper, dearer, quantities=[10], sale_values=[1]) is None
    assert break_even(dearer, cheaper, quantities=[10], sale_values=[1]) is None


@repeatable
@given(pairs())
def test_break_even_is_the_first_root(pair: tuple[RouteEconomics, RouteEconomics]) -> None:
    cheaper, dearer = pair
    lead = [exact_margin(dearer, n) - exact_margin(cheaper, n) for n in range(1, LARGEST + 1)]
    found = overtakes(cheaper, dearer, sale_value_per_plant=2.5, max_plants=LARGEST)
    if lead[0] >= 0 or max(lead) < 0:
        assert found is None
        return
    assert found is not None
    assert lead[found.plants - 1] >= 0
    assert all(value < 0 for value in lead[: found.plants - 1])
    assert found.batch_sale_value == 2.5 * found.plants


@repeatable
@given(pairs(), st.integers(1, 200))
def test_order_of_the_routes_does_not_matter(pair: tuple[RouteEconomics, RouteEconomics], plants: int) -> None:
    first, second = pair
    if first.shipping_cost(plants) != second.shipping_cost(plants):
        there = break_even(first, second, quantities=[plants], sale_values=[9], max_plants=LARGEST)
        back = break_even(second, first, quantities=[plants], sale_values=[9], max_plants=LARGEST)
        assert there == back
        dearer = first if first.shipping_cost(plants) > second.shipping_cost(plants) else second
        assert there is None or there.to == dearer.name


def batch(plants: int, boxes: int, *, apart: bool = False) -> Waybill:
    """A batch whose every cost is above zero."""
    return Waybill(
        currency="EUR",
        lines=(PlantLine(plants, 8),),
        freight=150,
        boxes=boxes,
        waybills=boxes if apart else 1,
        handling=35,
        collection=10,
        phyto=40,
        permit=25,
        other=5,
        duty_rate=0.04,
        tax_rate=0.23,
        dutiable="plants_and_freight",
        tax_reclaimed_share=0.5,
        cost_of_waiting=12,
    )


@pytest.mark.parametrize("apart", [False, True])
@pytest.mark.parametrize(("plants", "boxes"), [(20, 1), (40, 1), (41, 2), (240, 6)])
def test_economics_follow_the_landed_cost(plants: int, boxes: int, apart: bool) -> None:
    """Solved from 90 plants in 3 boxes of 40; each plant brings 21 after losses; other sizes follow, to the cents."""

    def margin(waybill: Waybill) -> float:
        return 21.0 * waybill.plants - float(landed_cost(waybill).total)

    known = batch(90, 3, apart=apart)
    economics = RouteEconomics.of("courier", known, margin(known), capacity=40, apart=apart)
    assert economics.mean_margin(90) == pytest.approx(margin(known), abs=1e-9)
    assert economics.mean_margin(plants) == pytest.approx(margin(batch(plants, boxes, apart=apart)), abs=0.1)


@pytest.mark.parametrize(("plants", "boxes"), [(20, 3), (5, 4), (60, 1), (11, 15), (7, 10)])
def test_the_buyers_own_number_of_boxes_is_kept(plants: int, boxes: int) -> None:
    economics = RouteEconomics.of("courier", batch(plants, boxes), 100.0, capacity=40, apart=False)
    assert economics.mean_margin(plants) == pytest.approx(100.0, abs=1e-9)
    # Three times the plants need three times the boxes: 2 more batches' freight, with duty and half the tax on it.
    freight = 150 * (1 + 0.04 + 0.5 * 0.23 * 1.04)
    grown = economics.shipping_cost(3 * plants) - economics.shipping_cost(plants)
    assert grown == pytest.approx(2 * boxes * freight, rel=1e-12)
