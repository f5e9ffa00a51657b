"""Order size against scipy.stats.binom and exact sums over boxes."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from model.decision.order_size import enough_chance, enough_chance_apart, smallest_order, smallest_order_apart

repeatable = settings(derandomize=True, deadline=None)
chances = st.lists(st.one_of(st.floats(0, 1), st.sampled_from([0.0, 1.0])), min_size=1, max_size=5)


@pytest.mark.parametrize(
    ("chance", "target", "confidence", "order"),
    [
        ([0.5], 1, 0.9, 4),  # 1 - 0.5^n: 0.875, 0.9375
        ([0.5, 1.0], 1, 0.9, 3),  # 1 - 0.5^n / 2: 0.875, 0.9375
        ([1.0], 20, 0.999, 20),
        ([0.0, 1.0], 7, 0.5, 7),  # half the draws lose everything whatever is ordered
        ([0.0, 1.0], 7, 0.51, None),
        ([0.0], 1, 0.5, None),
        ([0.9], 10_000, 0.9, None),
    ],
)
def test_worked_by_hand(chance: list[float], target: int, confidence: float, order: int | None) -> None:
    assert smallest_order(chance, target, confidence) == order


@repeatable
@given(chances, st.integers(1, 40), st.floats(0.5, 0.999))
def test_smallest_by_scipy(chance: list[float], target: int, confidence: float) -> None:
    def reached(n: int) -> float:
        return float(np.mean(binom.sf(target - 1, n, chance)))

    order = smallest_order(chance, target, confidence, maximum=500)
    if order is None:
        assert reached(500) < confidence + 1e-12
    else:
        assert target <= order <= 500
        assert reached(order) >= confidence - 1e-12
        assert reached(order - 1) < confidence + 1e-12


@repeatable
@given(chances, st.integers(1, 40), st.floats(0.5, 0.9))
def test_more_is_needed_for_more(chance: list[float], target: int, confidence: float) -> None:
    order = smallest_order(chance, target, confidence) or np.inf
    assert (smallest_order(chance, target + 1, confidence) or np.inf) >= order
    assert (smallest_order(chance, target, confidence + 0.09) or np.inf) >= order
    assert (smallest_order(np.sqrt(chance), target, confidence) or np.inf) <= order


def test_a_target_below_one_is_refused() -> None:
    with pytest.raises(ValueError, match="at least 1"):
        smallest_order([0.5], 0, 0.9)


class TestApart:
    """Boxes that travel apart."""

    def test_one_box_is_exact(self) -> None:
        chance = np.random.default_rng(1).beta(4, 2, size=(500, 3))
        together = smallest_order(chance[:, 0], 6, 0.6)
        apart = smallest_order_apart(chance, 6, 0.6, capacity=20, rng=np.random.default_rng(2))
        assert together is not None
        assert together <= 20
        assert apart == together

    @pytest.mark.parametrize("target", [7, 9, 12])
    def test_exact_sum_over_two_kinds_of_box(self, target: int) -> None:
        # Each box of 10 is lost (0) or good (chance 0.95), independently with chance 0.2 of loss: exact by enumeration.
        lost, good, confidence = 0.2, 0.95, 0.85

        def reached(n: int) -> float:
            healthy = np.array([1.0])
            while n > 0:
                box = min(n, 10)
                one = (1 - lost) * binom.pmf(np.arange(box + 1), box, good)
                one[0] += lost
                healthy, n = np.convolve(healthy, one), n - box
            return float(healthy[target:].sum())

        expected = next(n for n in range(1, 200) if reached(n) >= confidence)
        rng = np.random.default_rng(11)
        chance = np.where(rng.random((200_000, 10)) < lost, 0.0, good)
        assert smallest_order_apart(chance, target, confidence, capacity=10, rng=rng) == expected

    @repeatable
    @given(st.integers(0, 1000), st.integers(1, 60), st.integers(1, 25), st.floats(0.5, 0.95))
    def test_chance_is_the_one_the_search_found(self, seed: int, target: int, capacity: int, confidence: float) -> None:
        """Few draws, so that other draws would often fall on the other side of the confidence."""
        chance = np.random.default_rng(7).beta(6, 2, size=(64, 12))
        found = smallest_order_apart(chance, target, confidence, capacity=capacity, rng=np.random.default_rng(seed))
        if found is None:
            return

        def reached(plants: int) -> float:
            rng = np.random.default_rng(seed)
            return enough_chance_apart(chance, target, plants, capacity=capacity, rng=rng)

        assert reached(found) >= confidence
        # The first plant of a box is judged after a draw of the box before it; elsewhere one fewer is too few.
        if found % capacity != 1 and found > 1:
            assert reached(found - 1) < confidence

    def test_chance_of_one_box_is_exact_and_of_more_boxes_by_sums(self) -> None:
        chance = np.random.default_rng(3).beta(4, 2, size=(200, 2))
        rng = np.random.default_rng(4)
        assert enough_chance_apart(chance, 6, 8, capacity=8, rng=rng) == enough_chance(chance[:, 0], 6, 8)
        # Two boxes of 8 and 5 at chances 0.7 and 0.9: the sum of two binomials, by enumeration.
        exact = sum(binom.pmf(k, 8, 0.7) * binom.sf(10 - k - 1, 5, 0.9) for k in range(9))
        equal = np.tile([0.7, 0.9], (100_000, 1))
        assert enough_chance_apart(equal, 10, 13, capacity=8, rng=rng) == pytest.approx(exact, abs=0.005)

    def test_more_plants_than_the_boxes_hold_are_refused(self) -> None:
        with pytest.raises(ValueError, match="2 boxes of 10 do not hold 21 plants"):
            enough_chance_apart(np.ones((4, 2)), 5, 21, capacity=10, rng=np.random.default_rng(0))

    def test_ends_with_its_boxes_and_at_the_maximum(self) -> None:
        sure = np.ones((4, 3))
        rng = np.random.default_rng(0)
        assert smallest_order_apart(sure, 30, 0.9, capacity=10, rng=rng) == 30
        assert smallest_order_apart(sure, 31, 0.9, capacity=10, rng=rng) is None
        assert smallest_order_apart(sure, 25, 0.9, capacity=10, rng=rng, maximum=24) is None
        assert smallest_order_apart(sure, 24, 0.9, capacity=10, rng=rng, maximum=24) == 24

    def test_apart_needs_less_than_together_when_boxes_are_lost_whole(self) -> None:
        rng = np.random.default_rng(5)
        fate = np.where(rng.random((20_000, 20)) < 0.15, 0.0, 0.95)
        assert smallest_order(fate[:, 0], 10, 0.9) is None
        assert smallest_order_apart(fate, 10, 0.9, capacity=10, rng=rng) is not None
