"""Boxes lost whole in the draws of a comparison."""

from dataclasses import replace

import numpy as np
import pytest

from app.batch import prepare
from app.comparing.simulation import BatchSimulation
from app.serving import Engine
from tests.app.batches import compare_request, engine

DRAWS = 4096


def simulation(lost: float) -> BatchSimulation:
    """Return a simulation by the rules of thumb with a chance of its own to lose a box."""
    own = engine()
    draws = own.draws
    parameters = replace(draws.parameters, lost=np.full(draws.n_draws, lost))
    losing = Engine(own.model_version, own.reference, replace(draws, parameters=parameters))
    prepared = prepare(compare_request(), losing)
    return BatchSimulation(losing, prepared.lines, draws=DRAWS, seed=3)


def test_boxes_are_lost_in_their_share_each_for_itself() -> None:
    drawn = simulation(0.3)
    first, second = drawn.lost(0), drawn.lost(1)
    error = np.sqrt(0.3 * 0.7 / DRAWS)
    assert first.mean() == pytest.approx(0.3, abs=4 * error)
    # binomial: two boxes are lost together as independent ones are
    assert (first & second).mean() == pytest.approx(0.09, abs=4 * np.sqrt(0.09 * 0.91 / DRAWS))
    np.testing.assert_array_equal(first, simulation(0.3).lost(0))
    assert not simulation(0.0).lost(0).any()
