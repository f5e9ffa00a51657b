"""Draws that are moved to the posterior agree with weighted ones, and several modes are drawn about by their mass."""

from dataclasses import replace

import numpy as np
import pytest

from model.exposure.table import Array
from model.fit.evidence import count_boxes
from model.fit.hierarchy import ALPHA, DELTA, KAPPA, Hierarchy
from model.fit.inference import Inference
from model.fit.inner_mode import InnerMode
from model.fit.moves import Mover
from model.fit.strays import RATES
from model.fit.target import Target
from model.fit.weighing import Weighing, WeightedDraws, combined
from model.reference.tables import load_reference
from tests.model.ledgers import ledger

REFERENCE = load_reference()


def draws_about(mean: float, n: int, log_mass: float) -> WeightedDraws:
    x = np.random.default_rng(n).normal(mean, 0.1, (n, 3))
    return WeightedDraws(x, x, np.full(n, -np.log(n)), float(n), 0.2, 0, np.zeros(n), np.zeros(n), log_mass)


def test_modes_count_by_their_mass_and_their_draws_by_that() -> None:
    both = combined([draws_about(0.0, 500, -100.0 + np.log(1.0)), draws_about(4.0, 1500, -100.0 + np.log(3.0))])
    weights = np.exp(both.log_weights)
    assert weights.sum() == pytest.approx(1.0)
    assert weights @ both.x[:, 0] == pytest.approx(3.0, abs=0.02)
    # Of 2,000 draws of even weights all count.
    assert both.effective == pytest.approx(2000.0)
    assert both.log_mass == pytest.approx(-100.0 + np.log(4.0))


def test_a_mode_without_mass_leaves_no_draws() -> None:
    assert len(combined([draws_about(0.0, 500, -100.0), draws_about(4.0, 1500, -110.0)]).x) == 500


def test_moved_draws_have_the_mean_sd_and_mass_that_weighted_ones_have() -> None:
    """From a proposal that lies an sd off and is too narrow, whose weights alone leave a tenth of the draws."""
    rng = np.random.default_rng(3)
    days = np.tile([3.0, 5.0, 8.0, 12.0], 4)
    healthy = np.tile([11.0, 10.0, 7.0, 3.0], 4)
    counts = np.column_stack([healthy, (12.0 - healthy) // 2, np.ceil((12.0 - healthy) / 2), np.full(16, 12.0)])
    observations = ledger(counts, np.log(days))
    target = Target(observations, Hierarchy(observations, REFERENCE), rates=RATES)
    inference, weighing = Inference(InnerMode(target)), Weighing(target)
    proposal = inference._proposal(inference.mode())
    weighted = weighing.run(proposal, 8192, rng=rng)
    assert weighted.pareto_k < 0.7

    x = proposal.x.copy()
    x[KAPPA] += np.sqrt(np.cov(weighted.x[:, KAPPA], aweights=np.exp(weighted.log_weights)))
    off = replace(proposal, x=x, data_precision=1.5 * proposal.data_precision)
    drawn = off.draw(512, 8, rng=rng)
    log_weights, _ = weighing._log_weights(drawn)
    moved = Mover(off, weighing._log_likelihood, rng=rng).run(drawn.x, drawn.theta, drawn.mixing, log_weights)

    def moments(values: Array, log_w: Array) -> tuple[float, float]:
        mean = float(np.exp(log_w) @ values)
        return mean, float(np.sqrt(np.exp(log_w) @ (values - mean) ** 2))

    even = np.full(len(moved.x), -np.log(len(moved.x)))
    for at in (ALPHA, KAPPA):
        mean, sd = moments(weighted.x[:, at], weighted.log_weights)
        own_mean, own_sd = moments(moved.x[:, at], even)
        # Four standard errors of both means.
        error = 4.0 * sd * np.sqrt(1.0 / weighted.effective + 1.0 / moved.effective)
        assert own_mean == pytest.approx(mean, abs=error)
        assert own_sd == pytest.approx(sd, rel=0.2)
    assert (moved.x[:, [KAPPA, DELTA]] > 0.0).all()
    assert moved.log_mass == pytest.approx(weighted.log_mass, abs=0.3)


def test_boxes_of_an_unnamed_seller_are_no_other_sellers() -> None:
    """Genus and seller of a pair: an unnamed seller's boxes belonged to the last seller of the genus before."""
    counts = np.tile([8.0, 1.0, 1.0, 10.0], (4, 1))
    observations = ledger(
        counts,
        np.log([4.0, 5.0, 6.0, 7.0]),
        named={"genus": ["Begonia", "Hoya", "Hoya", "Hoya"], "seller": ["one", None, None, "two"]},
    )
    found = count_boxes(observations)
    names = [
        (found.levels["genus"][g], found.levels["seller"][s]) for g, s in zip(found.genus, found.seller, strict=True)
    ]
    assert dict(zip(names, found.pairs.boxes.tolist(), strict=True)) == {("Begonia", "one"): 1, ("Hoya", "two"): 1}
