"""When two margins are about equal, by hand, and which of such is the safer; all draws are invented."""

import numpy as np
import pytest

from model.decision import about_equal, noise, safer_of_equals


def draws(mean: float, spread: float, n: int = 400) -> np.ndarray:
    """Return draws of a mean and a standard deviation: one half a spread below, one above."""
    return mean + spread * np.where(np.arange(n) % 2, 1.0, -1.0)


def test_noise_by_hand() -> None:
    # Two standard errors over 100 orders of sd 50: 2 x 50 / 10; over 64 draws, which are fewer, 2 x 50 / 8.
    assert noise(draws(7.0, 50.0), orders=100, least=0.0) == pytest.approx(10.0)
    assert noise(draws(7.0, 50.0, 64), orders=100, least=0.0) == pytest.approx(12.5)
    assert noise(draws(7.0, 50.0), orders=100, least=25.0) == 25.0


@pytest.mark.parametrize(("gap", "equal"), [(9.9, True), (-9.9, True), (10.1, False), (-10.1, False)])
def test_equal_within_noise_either_way(gap: float, equal: bool) -> None:
    one = draws(100.0, 30.0)
    assert about_equal(one + draws(gap, 50.0), one, orders=100, least=0.0) is equal


def test_what_differs_by_the_same_in_every_draw_is_told_apart() -> None:
    one = draws(100.0, 30.0)
    assert not about_equal(one + 1.0, one, orders=100, least=0.5)
    assert about_equal(one + 1.0, one, orders=100, least=1.0)


class TestSafer:
    """Courier averages 36 more and loses 800 in 1 box of 20; air cargo never does."""

    n = 2000
    bad = np.arange(n) < n // 20
    cargo = np.full(n, 1169.0)
    # 1,205 on average: 19 in 20 boxes leave as much more as the bad ones leave less.
    courier = np.where(bad, -42.0, (1205.0 + 42.0 / 20) / 0.95)

    def taken(self, best: int = 0, allowed: tuple[int, ...] = (0, 1), **limits: float) -> int:
        """Return which is taken, of margins in the order courier, cargo."""
        return safer_of_equals([self.courier, self.cargo], best, allowed, orders=100, least=limits.get("least", 0.0))

    def test_the_safer_is_taken_where_the_means_are_about_equal(self) -> None:
        assert self.courier.mean() == pytest.approx(1205.0)
        # The sd of the difference is about 285: two standard errors over 100 orders are 57, more than 36.
        assert noise(self.courier - self.cargo, orders=100, least=0.0) == pytest.approx(57.0, abs=1.0)
        assert self.taken() == 1

    def test_one_that_may_not_be_taken_is_not(self) -> None:
        assert self.taken(allowed=(0,)) == 0

    def test_the_best_stays_where_it_is_the_safer(self) -> None:
        assert self.taken(best=1) == 1

    def test_what_spares_less_than_it_costs_is_not_safer(self) -> None:
        barely = [draws(100.0, 50.0), draws(100.0, 50.0) - 5.0]
        barely[1][barely[1] < 60] += 2.0
        assert safer_of_equals(barely, 0, (0, 1), orders=100, least=10.0) == 0
