"""What it would be worth to know something before deciding, and how much of the spread it makes: from the draws.

With margins m(d) of the choices d and something X that could be known,

    perfect information of everything   E max_d m(d) - max_d E m(d)
    partial perfect information of X    E max_d E[m(d) | X] - max_d E m(d)

E[m(d) | X] is the regression of the drawn margins on X (Strong, Oakley & Brennan 2014, Medical Decision Making
34:311-326). Where a sample is meant, a summary of data not yet seen is drawn beside the draws and stands for X (Strong,
Oakley, Brennan & Breeze 2015, Medical Decision Making 35:570-583).

The maximum over fitted values is biased upwards: chance alone makes them differ. Here the choice of each draw is made
by a regression on other draws and judged by the draw's own margins, so the mean is that of a rule that anyone could
follow: on average never more than knowing is worth, and less where the regression misses something.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from model.decision.spline_regression import Regression

Array = NDArray[np.float64]

# Of a worth to its standard error, from which on it is told from nothing.
STANDARD_ERRORS = 2.0


class Worth(NamedTuple):
    """Mean gain of deciding after something is known, in money.

    `standard_error` is of the draws; `changed_share` the share of draws in which another choice is made than now.
    """

    mean: float
    standard_error: float
    changed_share: float

    @property
    def is_clear(self) -> bool:
        """Whether it can be told from nothing: it exceeds two standard errors."""
        return self.mean > 0.0 and self.mean > STANDARD_ERRORS * self.standard_error


class Share(NamedTuple):
    """Share of a variance with its standard error, both 0 to 1."""

    mean: float
    standard_error: float


def given_known(margins: ArrayLike, inputs: Sequence[ArrayLike]) -> Array:
    """Regression of the margins on what would be known, E[margin | X].

    Parameters
    ----------
    margins : array_like, shape (draws, choices)
    inputs : sequence of array_like, shape (draws, inputs) each
        For each choice, of what would be known, what bears on its margin; (draws, 0) for a choice that it does not
        touch. Choices with the same array share one regression.

    Returns
    -------
    ndarray, shape (draws, choices)
        Each draw's from other draws (see `spline_regression`); the mean where nothing bears on a choice.
    """
    values = np.asarray(margins, dtype=np.float64)
    fitted = np.broadcast_to(values.mean(axis=0), values.shape).copy()
    for known in {id(own): own for own in inputs}.values():
        alike = [choice for choice, own in enumerate(inputs) if own is known]
        if np.shape(known)[1]:
            fitted[:, alike] = Regression(known).fitted(values[:, alike])
    return fitted


def worth_of_knowing(margins: ArrayLike, fitted: ArrayLike) -> Worth:
    """Expected value of partial perfect information, or of a sample whose drawn summary was regressed on.

    Parameters
    ----------
    margins : array_like, shape (draws, choices)
        Paired by draw; the choice made now is the one with the best mean.
    fitted : array_like, shape (draws, choices)
        From `given_known`; the margins themselves for perfect information of everything.

    Returns
    -------
    Worth
        Never more than that of everything; may be below 0 by chance, where it is worth nothing.
    """
    # Choice by choice: rows of draws lie together.
    gain, changed = gain_of_rule(np.transpose(margins), np.transpose(fitted))
    return Worth(float(gain.mean()), standard_error(gain), float(changed.mean()))


def gain_of_rule(values: Array, judged: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Return what each draw gains by the choice that is judged best over the best on average, and where they differ.

    Parameters
    ----------
    values, judged : ndarray, shape (choices, draws)

    Returns
    -------
    tuple of ndarray, shape (draws,) each
    """
    now = int(values.mean(axis=1).argmax())
    best, chosen, changed = judged[0], values[0], np.full(values.shape[1], now != 0)
    for choice in range(1, len(values)):
        better = judged[choice] > best
        best = np.where(better, judged[choice], best)
        chosen = np.where(better, values[choice], chosen)
        changed = np.where(better, choice != now, changed)
    return chosen - values[now], changed


def variance_share(values: ArrayLike, fitted: ArrayLike, total_variance: float) -> Share:
    """First-order share of a variance, Var E[value | X] / total (Sobol 1993, Math. Model. Comput. Exp. 1:407).

    Parameters
    ----------
    values, fitted : array_like, shape (draws,)
        Of one choice, and from `given_known`.
    total_variance : float
        Of what the values are part of; the share is 0 where it is 0.

    Returns
    -------
    Share
        By how much the error of predicting the values falls when X is known, on draws not fitted to: not more than the
        share on average, clipped at 0. Shares of independent inputs add to 1 at most.
    """
    y, given = np.asarray(values, dtype=np.float64), np.asarray(fitted, dtype=np.float64)
    if total_variance <= 0.0:
        return Share(0.0, 0.0)
    explained = ((y - y.mean()) ** 2 - (y - given) ** 2) / total_variance
    return Share(max(float(explained.mean()), 0.0), standard_error(explained))


def standard_error(values: Array) -> float:
    """Return the standard error of the mean of draws."""
    return float(values.std() / np.sqrt(len(values)))
