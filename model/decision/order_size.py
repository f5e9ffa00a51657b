"""How many plants to order so that enough of them arrive healthy."""

from collections.abc import Callable
from functools import partial

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import bdtrc

FloatArray = NDArray[np.float64]


def smallest_order(healthy_chance: ArrayLike, target: int, confidence: float, *, maximum: int = 10_000) -> int | None:
    """Smallest order that leaves at least `target` plants healthy with the wanted confidence.

    Given a draw, plants are independent; what they share (box, seller, weather, line) is in the draw, so this is for
    boxes that travel together.

    Parameters
    ----------
    healthy_chance : array_like, shape (draws,)
        Chance of one plant of the line to be healthy, drawn; it does not depend on the size of the order.
    target : int
        Healthy plants wanted, at least 1.
    confidence : float
        Between 0 and 1.
    maximum : int
        Largest order looked at.

    Returns
    -------
    int or None
        Smallest n with mean over draws of P(Binomial(n, chance) >= target) >= confidence; None past `maximum`.

    Raises
    ------
    ValueError
        When `target` is below 1.
    """
    chance = np.asarray(healthy_chance, dtype=np.float64)
    missing = np.full(chance.shape, _checked(target))
    return _bisect(partial(_chance_of_enough, missing, chance), confidence, maximum)


def enough_chance(healthy_chance: ArrayLike, target: int, plants: int) -> float:
    """Chance that `plants`, each healthy with the drawn chance, (draws,), leave at least `target` healthy."""
    chance = np.asarray(healthy_chance, dtype=np.float64)
    return _chance_of_enough(np.full(chance.shape, _checked(target)), chance, plants)


def smallest_order_apart(
    healthy_chance: ArrayLike,
    target: int,
    confidence: float,
    *,
    capacity: int,
    rng: np.random.Generator,
    maximum: int = 10_000,
) -> int | None:
    """Smallest order as in `smallest_order`, for boxes that travel apart and fill one after another.

    Parameters
    ----------
    healthy_chance : array_like, shape (draws, boxes)
        Chance of one plant in each box; the search ends when these boxes are full.
    target, confidence, maximum
        As in `smallest_order`.
    capacity : int
        Plants a box.
    rng : numpy.random.Generator
        Draws the healthy plants of the full boxes; the last box is integrated exactly. The Monte Carlo error of the
        confidence reached is below 0.5 / sqrt(draws).

    Returns
    -------
    int or None

    Raises
    ------
    ValueError
        When `target` is below 1.
    """
    chances = np.asarray(healthy_chance, dtype=np.float64)
    missing = np.full(chances.shape[0], _checked(target))
    for box, chance in enumerate(chances.T):
        room = min(capacity, maximum - box * capacity)
        if room <= 0:
            return None
        last = _bisect(partial(_chance_of_enough, missing, chance), confidence, room)
        if last is not None:
            return box * capacity + last
        missing = missing - rng.binomial(capacity, chance)
    return None


def enough_chance_apart(
    healthy_chance: ArrayLike, target: int, plants: int, *, capacity: int, rng: np.random.Generator
) -> float:
    """Chance that `plants` in boxes that travel apart and fill one after another leave at least `target` healthy.

    With a generator in the state that `smallest_order_apart` was given, the draws are those of its search: at the
    order it found the chance is the one it found.

    Parameters
    ----------
    healthy_chance : array_like, shape (draws, boxes)
        Chance of one plant in each box.
    target, plants, capacity : int
    rng : numpy.random.Generator
        Draws the healthy plants of the full boxes; the last box is integrated exactly.

    Raises
    ------
    ValueError
        When `target` is below 1, or the boxes do not hold `plants`.
    """
    chances = np.asarray(healthy_chance, dtype=np.float64)
    missing = np.full(chances.shape[0], _checked(target))
    for box, chance in enumerate(chances.T):
        left = plants - box * capacity
        if left <= capacity:
            return _chance_of_enough(missing, chance, left)
        missing = missing - rng.binomial(capacity, chance)
    raise ValueError(f"{chances.shape[1]} boxes of {capacity} do not hold {plants} plants")


def _checked(target: int) -> int:
    if target < 1:
        raise ValueError(f"target must be at least 1 healthy plant, got {target}")
    return target


def _chance_of_enough(wanted: NDArray[np.int64], chance: FloatArray, plants: int) -> float:
    """Mean over draws of P(Binomial(plants, chance) >= wanted)."""
    # bdtrc(k, n, p) = P(X > k): 1 for k < 0, 0 for k = n, not defined past n.
    return float(np.mean(bdtrc(np.minimum(wanted - 1, plants), plants, chance)))


def _bisect(reached: Callable[[int], float], confidence: float, maximum: int) -> int | None:
    """Smallest n of 1..maximum with reached(n) >= confidence; `reached` never falls. None if there is none."""
    if reached(maximum) < confidence:
        return None
    short, enough = 0, maximum
    while enough - short > 1:
        middle = (short + enough) // 2
        if reached(middle) >= confidence:
            enough = middle
        else:
            short = middle
    return enough
