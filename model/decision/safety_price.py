"""Deciding with more knowledge, but no less safely: worth in money where a limit on the loss forbids what earns more.

The most that a rule can earn on average while it keeps the loss as surely as the choice made now is, by Lagrange's
duality, the least over prices of safety of what it earns in money and safety together (Everett 1963, Operations
Research 11:399). At each price that makes the choice of now the best one this is the worth of knowing by the sum of
both; the least of these is the gain in money alone, safety being what it was.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from model.decision.information import Worth, gain_of_rule, standard_error

Array = NDArray[np.float64]

N_PRICES = 12
# The highest price that is tried, of the lowest.
MOST_TIMES = 100.0
# Of a price, so that rounding does not decide between choices that it makes equal.
NUDGE = 1e-9


def supporting_prices(margin_means: ArrayLike, chances_kept: ArrayLike, choice: int) -> Array:
    """Return prices of safety at which a choice is the best of mean margin + price x chance to keep the loss.

    Parameters
    ----------
    margin_means, chances_kept : array_like, shape (choices,)
    choice : int

    Returns
    -------
    ndarray, shape (prices,)
        Ascending: 0 alone where the choice earns the most; else from the least that does, at most a hundred times as
        much. Where a mixture of others earns more and is as safe no price does; then the least at which nothing riskier
        is better.
    """
    means, chances = np.asarray(margin_means, dtype=np.float64), np.asarray(chances_kept, dtype=np.float64)
    less, gain = chances[choice] - chances, means - means[choice]
    riskier, safer = less > 0, less < 0
    low = float(np.max(gain[riskier] / less[riskier], initial=0.0)) * (1.0 + NUDGE)
    if low == 0.0:
        return np.zeros(1)
    high = float(np.min(gain[safer] / less[safer], initial=MOST_TIMES * low)) * (1.0 - NUDGE)
    return np.geomspace(low, high, N_PRICES) if high > low else np.array([low])


def worth_as_safe(
    margins: ArrayLike, kept: ArrayLike, fitted: tuple[ArrayLike, ArrayLike], prices: Sequence[float] | Array
) -> Worth:
    """Worth of knowing something, in money, by rules that keep the loss no less surely than the choice made now.

    Parameters
    ----------
    margins, kept : array_like, shape (draws, choices)
        Paired by draw; `kept` is 1 where the loss is within the limit, else 0.
    fitted : pair of array_like, shape (draws, choices)
        Both given what would be known (`given_known`).
    prices : (prices,)
        From `supporting_prices`; with 0 alone it is `worth_of_knowing`.
    """
    earned, safe, earned_given, safe_given = (np.ascontiguousarray(np.transpose(of)) for of in (margins, kept, *fitted))
    tried = [gain_of_rule(earned + price * safe, earned_given + price * safe_given) for price in prices]
    gain, changed = min(tried, key=lambda one: float(one[0].mean()))
    return Worth(float(gain.mean()), standard_error(gain), float(changed.mean()))
