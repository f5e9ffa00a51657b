"""Knowing more without being less safe: prices by hand, worth against a linear programme."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import linprog

from model.decision.information import given_known, worth_of_knowing
from model.decision.safety_price import supporting_prices, worth_as_safe

Array = NDArray[np.float64]

MEANS, CHANCES = [500.0, 450.0, 0.0], [0.7, 0.9, 1.0]


def test_prices_by_hand() -> None:
    """The second route costs 50 for 0.2 of safety, nothing 450 for 0.1 more."""
    assert supporting_prices(MEANS, CHANCES, 0).tolist() == [0.0]
    prices = supporting_prices(MEANS, CHANCES, 1)
    assert (prices[0], prices[-1]) == (pytest.approx(250.0), pytest.approx(4500.0))
    for price in prices:
        assert np.argmax(np.array(MEANS) + price * np.array(CHANCES)) == 1
    # Nothing safer is there: a hundred times the least.
    assert supporting_prices(MEANS, CHANCES, 2)[[0, -1]] == pytest.approx([4500.0, 450_000.0])
    # A mixture of its neighbours is better at any price.
    assert supporting_prices([500.0, 200.0, 450.0], [0.7, 0.8, 0.9], 1).tolist() == [pytest.approx(3000.0)]


def by_linear_programme(means: Array, chances: Array, choice: int) -> float:
    """Return the most that a rule earns more than a choice and is as safe, for means and chances (states, choices).

    The rule says how often each choice is made in each of the equally likely states.
    """
    states, choices = means.shape
    once = np.kron(np.eye(states), np.ones(choices))
    found = linprog(
        -means.ravel() / states,
        A_ub=-chances.ravel()[None] / states,
        b_ub=[-chances[:, choice].mean()],
        A_eq=once,
        b_eq=np.ones(states),
    )
    assert found.fun is not None
    return float(-found.fun - means[:, choice].mean())


def test_worth_is_that_of_the_best_rule_that_is_as_safe() -> None:
    """Eight states of what would be known: the faster they are the safer is the first choice, which earns more."""
    rng = np.random.default_rng(1)
    state = np.arange(32_768) % 8
    rng.shuffle(state)
    level = (np.arange(8) - 3.5) / 3.5
    means = np.stack([500.0 + 150.0 * level, 430.0 + 20.0 * level, 0.0 * level], axis=1)
    chances = np.stack([0.75 + 0.2 * level, 0.92 + 0.02 * level, 1.0 + 0.0 * level], axis=1)
    noise = rng.standard_normal((len(state), 1)) * [[120.0, 120.0, 0.0]]
    margins, kept = means[state] + noise, (rng.random((len(state), 1)) < chances[state]).astype(float)
    inputs = [level[state][:, None]] * 2 + [np.empty((len(state), 0))]
    prices = supporting_prices(margins.mean(axis=0), kept.mean(axis=0), 1)
    found = worth_as_safe(margins, kept, (given_known(margins, inputs), given_known(kept, inputs)), prices)
    expected = by_linear_programme(means, chances, 1)
    assert expected > 20.0
    assert found.mean == pytest.approx(expected, abs=3 * found.standard_error + 0.5)
    assert found.standard_error < 3.0
    # What tells nothing is worth nothing, however close the choices are at a price.
    idle = [rng.standard_normal((len(state), 1))] * 2 + [np.empty((len(state), 0))]
    nothing = worth_as_safe(margins, kept, (given_known(margins, idle), given_known(kept, idle)), prices)
    assert not nothing.is_clear
    # Without a limit that forbids anything it is the plain worth.
    given = given_known(margins, inputs), given_known(kept, inputs)
    assert worth_as_safe(margins, kept, given, supporting_prices(margins.mean(axis=0), kept.mean(axis=0), 0)) == (
        worth_of_knowing(margins, given[0])
    )
