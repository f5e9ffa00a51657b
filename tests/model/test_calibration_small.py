"""A small version of the calibration study, and the parts that it is judged by."""

import numpy as np
import pytest

from tests.studies.bands import N_VALUES, RankBand, randomised_pit, rank
from tests.studies.calibration import QUANTITIES, study, table
from tests.studies.record import model_digest

# Few importers: only gross faults show. Each rank may leave its band once in 100,000 studies, a share be four standard
# errors off.
N_BOXES, N_IMPORTERS, N_WEIGHED, SIMULATIONS = 10, 16, 512, 20_000
LEAST_P, MOST_ERRORS = 1e-4, 4.0


def test_band_of_one_rank_is_its_exact_tail() -> None:
    # By hand: rank r of one draw is left of r + 1 values and right of 256 - r, so 0 and 255 are the farthest out.
    band = RankBand(1, rng=np.random.default_rng(0), simulations=50_000)
    assert band.p_value(np.array([0])) == pytest.approx(2 / N_VALUES, rel=0.2)
    assert band.p_value(np.array([255])) == pytest.approx(2 / N_VALUES, rel=0.2)
    assert band.p_value(np.array([127])) == pytest.approx(1.0, abs=0.02)


def test_band_is_left_as_often_as_it_says() -> None:
    rng = np.random.default_rng(1)
    band = RankBand(60, rng=rng, simulations=20_000)
    left = np.mean([band.p_value(rng.integers(N_VALUES, size=60)) <= 0.05 for _ in range(4000)])
    assert left == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / 4000))


@pytest.mark.parametrize("width", [0.6, 1.5])
def test_band_finds_draws_that_are_too_wide_or_too_narrow(width: float) -> None:
    rng = np.random.default_rng(2)
    band = RankBand(300, rng=rng, simulations=20_000)
    ranks = np.array(
        [rank(float(rng.standard_normal()), width * rng.standard_normal(255), rng=rng) for _ in range(300)]
    )
    assert band.p_value(ranks) < 0.001


def test_results_carry_a_digest_of_the_model_that_made_them() -> None:
    assert len(bytes.fromhex(model_digest())) == 8


def test_ties_are_broken_evenly() -> None:
    rng = np.random.default_rng(3)
    ranks = [rank(2.0, np.array([1.0, 2.0, 2.0, 3.0]), rng=rng) for _ in range(3000)]
    assert set(ranks) == {1, 2, 3}
    assert np.mean(ranks) == pytest.approx(2.0, abs=0.06)
    pits = np.array([randomised_pit(0.0, np.zeros(7), rng=rng) for _ in range(3000)])
    assert pits.mean() == pytest.approx(0.5, abs=0.03)
    assert pits.std() == pytest.approx(12**-0.5, rel=0.05)


@pytest.mark.long
def test_fit_is_calibrated_under_its_own_prior() -> None:
    result = study(N_BOXES, N_IMPORTERS, n_weighed=N_WEIGHED, simulations=SIMULATIONS)
    assert result["importers"] == N_IMPORTERS
    assert result["partial"], "sixteen importers are not the study"
    assert not result["failed_fits"]
    assert set(result["quantities"]) == set(QUANTITIES)
    for name, quantity in result["quantities"].items():
        assert quantity["p_value"] > LEAST_P, name
    for name, share in {**result["coverage"], **result["ranges"]}.items():
        assert abs(share["covers"] - share["expected"]) < MOST_ERRORS * share["standard_error"], name
    assert f"| importers | {N_IMPORTERS} (cut short) |" in table({"sizes": {str(N_BOXES): result}})
