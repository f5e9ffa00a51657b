"""Sales, claims and margin: worked sums and laws."""

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from model.decision.landed_cost import PlantLine, Waybill, landed_cost
from model.decision.margin import Recourse, cost_by_line, margin, proceeds, recovered_by_line

repeatable = settings(derandomize=True, deadline=None)
counts = arrays(np.int64, (5, 2), elements=st.integers(0, 1000))
prices = arrays(np.float64, 2, elements=st.floats(0, 1e6))


class TestRecovered:
    """Two draws of two lines; 2 and 1 dead in the first, none and 4 in the second."""

    dead = np.array([[2, 1], [0, 4]])

    def value(self, recourse: Recourse, freight_per_plant: float = 3.0) -> list[float]:
        by_line = recovered_by_line(
            self.dead, [8.0, 5.0], recourse, healthy_chance=0.5, freight_per_plant=freight_per_plant
        )
        return list(by_line.sum(axis=-1))

    def test_refund_is_worth_its_price(self) -> None:
        # 0.5 x (2 x 8 + 1 x 5), 0.5 x (4 x 5)
        assert self.value(Recourse("refund", 0.5)) == [10.5, 10.0]

    def test_replacement_pays_freight_again_and_may_die(self) -> None:
        # 0.5 x 0.5 x (2 x (8 - 3) + 1 x (5 - 3)), 0.5 x 0.5 x 4 x (5 - 3)
        assert self.value(Recourse("replacement", 0.5)) == [3.0, 2.0]

    def test_replacement_that_costs_more_than_it_is_worth_is_declined(self) -> None:
        # freight 6 exceeds the 5 of the second line: 0.5 x 0.5 x 2 x (8 - 6)
        assert self.value(Recourse("replacement", 0.5), freight_per_plant=6.0) == [1.0, 0.0]

    def test_none(self) -> None:
        assert self.value(Recourse("none", 0.5)) == [0.0, 0.0]

    def test_a_line_has_its_own_chance_and_freight(self) -> None:
        value = recovered_by_line(
            self.dead, [8.0, 5.0], Recourse("replacement"), healthy_chance=[0.5, 1.0], freight_per_plant=[4.0, 1.0]
        )
        # (8 - 4) x 0.5 = 2 and (5 - 1) x 1 = 4 a plant
        assert value.tolist() == [[4.0, 4.0], [0.0, 16.0]]


def test_margin_worked_by_hand() -> None:
    healthy, damaged = np.array([[15, 3], [20, 0]]), np.array([[3, 1], [0, 0]])
    # (15 + 0.4 x 3) x 30 + (3 + 0.4 x 1) x 10 + 5 - 300.50 = 486 + 34 + 5 - 300.50; 20 x 30 + 0 - 300.50
    result = margin(healthy, damaged, [30, 10], 0.4, [5.0, 0.0], Decimal("300.50"))
    np.testing.assert_allclose(result, [224.5, 299.5], rtol=1e-15)


@repeatable
@given(counts, counts, arrays(np.float64, (2, 2), elements=st.floats(0, 1e6)), st.floats(0, 1), st.floats(0, 1e6))
def test_margin_is_linear_in_prices(
    healthy: np.ndarray, damaged: np.ndarray, two_prices: np.ndarray, share: float, cost: float
) -> None:
    one, other = two_prices

    def at(price: np.ndarray, cost: float) -> np.ndarray:
        back = recovered_by_line(damaged, price, Recourse("refund", 0.7), healthy_chance=1, freight_per_plant=0)
        return margin(healthy, damaged, price, share, back.sum(axis=-1), cost)

    np.testing.assert_allclose(at(one + other, 2 * cost), at(one, cost) + at(other, cost), rtol=1e-12, atol=1e-3)
    np.testing.assert_allclose(at(3 * one, 3 * cost), 3 * at(one, cost), rtol=1e-12, atol=1e-3)


@repeatable
@given(counts, counts, prices, st.floats(0, 1))
def test_margin_never_falls_with_a_healthier_plant(
    healthy: np.ndarray, damaged: np.ndarray, price: np.ndarray, share: float
) -> None:
    zero = np.zeros(len(healthy))
    healed = np.minimum(damaged, 1)
    before = margin(healthy, damaged, price, share, zero, 100.0)
    after = margin(healthy + healed, damaged - healed, price, share, zero, 100.0)
    assert np.all(after >= before - 1e-9 * np.abs(before))


@pytest.mark.parametrize("dutiable", ["plants", "plants_and_freight"])
def test_cost_of_lines_adds_to_the_total(dutiable: str) -> None:
    waybill = Waybill(
        currency="EUR",
        lines=(PlantLine(30, 8), PlantLine(10, 12.5)),
        freight=100,
        handling=20,
        duty_rate=0.1,
        tax_rate=0.2,
        dutiable="plants" if dutiable == "plants" else "plants_and_freight",
        tax_reclaimed_share=0.5,
    )
    cost = landed_cost(waybill)
    # 1 of plants costs 1 + 0.1 + half of 0.2 x 1.1 = 1.21; the rest is 3 to 1 by plants:
    # freight and handling 120, freight with duty and tax 121 + 20
    rest = 120 if dutiable == "plants" else 141
    np.testing.assert_allclose(
        cost_by_line(waybill, cost), [240 * 1.21 + 0.75 * rest, 125 * 1.21 + 0.25 * rest], atol=0.01
    )
    assert cost_by_line(waybill, cost).sum() == pytest.approx(float(cost.total), rel=1e-14)


def test_sales_by_line() -> None:
    assert proceeds([[2, 1]], [[1, 0]], [10.0, 7.0], 0.5).tolist() == [[25.0, 7.0]]
