"""Risk measures and the choice of a route."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays

from model.decision.decision import (
    Choice,
    chance_best,
    chance_better,
    chance_loss_within_limit,
    choose_route,
    cost_per_healthy_plant,
    quantiles,
    summarise,
    worst_share_mean,
)

repeatable = settings(derandomize=True, deadline=None)
money = st.floats(-1e6, 1e6)
draws = arrays(np.float64, st.integers(1, 60), elements=money)


class TestSummary:
    """Quantiles of counts and of money."""

    def test_quantiles_of_counts_are_counts(self) -> None:
        # Of 10 draws 0, 10, ..., 90: the smallest with at least 5 %, 50 %, 95 % at or below it.
        assert summarise(np.arange(0, 100, 10)) == (45.0, 0.0, 40.0, 90.0)
        assert summarise(np.arange(0.0, 100.0, 10.0), counts=True) == (45.0, 0.0, 40.0, 90.0)

    def test_quantiles_of_money_are_interpolated(self) -> None:
        # Positions 0.05 x 9, 0.5 x 9, 0.95 x 9 along the sorted draws.
        np.testing.assert_allclose(summarise(np.arange(0.0, 100.0, 10.0)), (45.0, 4.5, 45.0, 85.5), rtol=1e-14)

    @pytest.mark.parametrize("n", [1, 2, 7, 20, 1000])
    def test_quantiles_are_those_of_numpy(self, n: int) -> None:
        """Counts that are few, counts that are large, negative whole numbers, money, and whole numbers as floats."""
        rng = np.random.default_rng(n)
        levels = [0.0, 0.05, 0.1, 0.5, 0.9, 0.95, 1.0]
        for whole in (rng.integers(0, 9, n), rng.integers(0, 10**6, n), rng.integers(-5, 5, n)):
            expected = np.quantile(whole, levels, method="inverted_cdf")
            np.testing.assert_array_equal(quantiles(whole, levels), expected)
            np.testing.assert_array_equal(quantiles(whole.astype(float), levels, counts=True), expected)
        money = rng.normal(100.0, 300.0, n)
        np.testing.assert_array_equal(quantiles(money, levels), np.quantile(money, levels))


class TestWorstShare:
    """Mean of the worst draws."""

    @pytest.mark.parametrize(
        ("n", "share", "expected"),
        [
            (100, 0.05, 2.0),  # (0 + 1 + 2 + 3 + 4) / 5
            (10, 0.25, 0.8),  # (0 + 1 + 0.5 x 2) / 2.5
            (30, 0.05, 0.5 / 1.5),  # (0 + 0.5 x 1) / 1.5
            (10, 0.05, 0.0),  # half of the worst draw alone
            (10, 1.0, 4.5),
        ],
    )
    def test_worked_by_hand(self, n: int, share: float, expected: float) -> None:
        shuffled = np.random.default_rng(3).permutation(n)
        assert worst_share_mean(shuffled, share) == pytest.approx(expected, rel=1e-12)

    def test_the_worst_are_1_in_20_unless_said_otherwise(self) -> None:
        """The worst 2 of 40 draws are 0 and 1; 1 in 10 would be 1.5, 1 in 40 would be 0."""
        assert worst_share_mean(np.arange(40)) == 0.5

    @repeatable
    @given(draws, st.floats(0.001, 1))
    def test_lies_between_the_worst_and_the_mean(self, margins: np.ndarray, share: float) -> None:
        worst = worst_share_mean(margins, share)
        assert margins.min() - 1e-6 <= worst <= margins.mean() + 1e-6

    @repeatable
    @given(draws, st.floats(0.001, 1), st.floats(0.1, 10), money)
    def test_moves_with_the_money(self, margins: np.ndarray, share: float, factor: float, shift: float) -> None:
        expected = factor * worst_share_mean(margins, share) + shift
        assert worst_share_mean(factor * margins + shift, share) == pytest.approx(expected, rel=1e-9, abs=1e-6)


class TestChances:
    """Chances of bearable loss, of being best, of being better."""

    def test_loss_at_the_limit_is_within_it(self) -> None:
        assert chance_loss_within_limit([4, 5, 6, 7], 20, 0.25) == 0.5
        # In floating point 0.29 x 100 is below 29.
        assert chance_loss_within_limit([29, 30], 100, 0.29) == 0.5

    @repeatable
    @given(st.integers(1, 10_000), st.integers(0, 100))
    def test_a_whole_per_cent_is_within_itself(self, hundreds: int, per_cent: int) -> None:
        limit = float(f"{per_cent / 100:.2f}")
        assert chance_loss_within_limit([hundreds * per_cent], 100 * hundreds, limit) == 1.0

    def test_best_shares_ties(self) -> None:
        margins = [[3, 1, 0], [2, 2, 1], [0, 0, 0], [1, 2, 5]]
        # draw by draw: first; half each; a third each; third
        np.testing.assert_allclose(
            chance_best(margins), [(1 + 1 / 2 + 1 / 3) / 4, (1 / 2 + 1 / 3) / 4, (1 / 3 + 1) / 4]
        )

    @repeatable
    @given(arrays(np.int64, array_shapes(min_dims=2, max_dims=2, max_side=30), elements=st.integers(-3, 3)))
    def test_best_adds_to_one(self, margins: np.ndarray) -> None:
        chances = chance_best(margins)
        assert chances.sum() == pytest.approx(1.0, abs=1e-12)
        assert np.all(chances >= 0)

    def test_better_counts_half_a_tie(self) -> None:
        assert chance_better([1, 2, 3, 4], [0, 2, 4, 3]) == 2.5 / 4

    @repeatable
    @given(arrays(np.int64, (20, 2), elements=st.integers(-3, 3)))
    def test_better_agrees_with_best_of_two(self, margins: np.ndarray) -> None:
        first, later = margins.T
        assert chance_better(later, first) + chance_better(first, later) == pytest.approx(1.0, abs=1e-12)
        assert chance_better(later, first) == pytest.approx(chance_best(margins)[1], abs=1e-12)


def test_cost_per_healthy_plant() -> None:
    # (430 - 30) / 16
    assert cost_per_healthy_plant(430, [20.0, 40.0], [20, 12]) == 25.0
    assert cost_per_healthy_plant(430, [0.0, 0.0], [0, 0]) is None


class TestChoice:
    """Every way a choice can fall, at confidence 0.8."""

    @pytest.mark.parametrize(
        ("means", "chances", "choice"),
        [
            ([100, 50], [0.9, 0.9], Choice("courier", "best_within_limit")),
            ([100, 50], [0.79, 0.8], Choice("cargo", "best_within_limit")),
            ([50, 50], [0.8, 0.9], Choice("courier", "best_within_limit")),
            ([0, -1], [0.9, 0.9], Choice("courier", "best_within_limit")),
            ([-1, -2], [0.9, 0.9], Choice(None, "do_not_order")),
            ([-1, -2], [0.1, 0.2], Choice(None, "do_not_order")),
            ([100, 50], [0.5, 0.6], Choice(None, "no_route_keeps_loss", "cargo")),
            ([50, 100], [0.5, 0.5], Choice(None, "no_route_keeps_loss", "courier")),
            ([-1, 100], [0.9, 0.5], Choice(None, "safe_routes_lose_money")),
        ],
    )
    def test_choice(self, means: list[float], chances: list[float], choice: Choice) -> None:
        assert choose_route(["courier", "cargo"], means, chances, 0.8) == choice

    @repeatable
    @given(
        arrays(np.float64, 4, elements=money), arrays(np.float64, 4, elements=st.floats(0, 1)), st.floats(0.5, 0.999)
    )
    def test_nothing_allowed_beats_the_recommended(
        self, means: np.ndarray, chances: np.ndarray, confidence: float
    ) -> None:
        names = ["a", "b", "c", "d"]
        allowed = {n: m for n, m, c in zip(names, means, chances, strict=True) if c >= confidence and m >= 0}
        recommended = choose_route(names, means, chances, confidence).recommended
        if allowed:
            assert recommended is not None
            assert allowed[recommended] == max(allowed.values())
        else:
            assert recommended is None
