"""Log equivalent days of recorded lines as functions of the clock: polynomials through tabulated values."""

import numpy as np
from numpy.typing import NDArray

from model.exposure.damage import ClockDraws, damage_rate

Array = NDArray[np.float64]

Indices = NDArray[np.intp]

# Log Q10 and log chill rate at which an exposure is tabulated; between them it is a polynomial.
LOG_Q10_RANGE = (0.05, 1.4)

LOG_CHILL_RANGE = (float(np.log(0.03)), float(np.log(6.0)))

Q10_NODES, CHILL_NODES = 5, 8


def chebyshev_points(low: float, high: float, n: int) -> Array:
    """Return n Chebyshev points of an interval, ascending."""
    points: Array = 0.5 * (low + high) - 0.5 * (high - low) * np.cos(np.pi * (np.arange(n) + 0.5) / n)
    return points


class ExposureTable:
    """Mean and variance of log equivalent days of each line, as functions of (log Q10, log chill rate).

    Tensor products of Chebyshev polynomials through values tabulated at `log_q10_points` x `log_chill_points`.
    """

    log_q10_points = chebyshev_points(*LOG_Q10_RANGE, Q10_NODES)
    log_chill_points = chebyshev_points(*LOG_CHILL_RANGE, CHILL_NODES)

    def __init__(self, mean: Array, variance: Array) -> None:
        """Take values at the points, (lines, Q10_NODES, CHILL_NODES) each."""
        self._to_q10 = np.linalg.inv(_basis(self.log_q10_points, LOG_Q10_RANGE, Q10_NODES))
        self._to_chill = np.linalg.inv(_basis(self.log_chill_points, LOG_CHILL_RANGE, CHILL_NODES))
        self._mean = self._coefficients(mean)
        self._variance = self._coefficients(variance) if variance.any() else None

    def _coefficients(self, values: Array) -> Array:
        coefficients: Array = np.einsum("iq,nqc,jc->nij", self._to_q10, values, self._to_chill)
        return coefficients.reshape(len(values), Q10_NODES * CHILL_NODES)

    def __len__(self) -> int:
        return len(self._mean)

    def at(self, log_q10: float, log_chill: float) -> tuple[Array, Array]:
        """Return mean and variance of log equivalent days, (lines,) each; beyond the range its end counts."""
        weights = np.outer(
            _basis(np.array([log_q10]), LOG_Q10_RANGE, Q10_NODES)[0],
            _basis(np.array([log_chill]), LOG_CHILL_RANGE, CHILL_NODES)[0],
        ).ravel()
        mean: Array = self._mean @ weights
        if self._variance is None:
            return mean, np.zeros_like(mean)
        return mean, np.maximum(self._variance @ weights, 0.0)

    def at_draws(self, log_q10: Array, log_chill: Array) -> tuple[Array, Array]:
        """Return mean and variance under each draw of the clock's parameters, (lines, draws) each."""
        q10 = _basis(log_q10, LOG_Q10_RANGE, Q10_NODES)
        chill = _basis(log_chill, LOG_CHILL_RANGE, CHILL_NODES)
        weights = np.einsum("dq,dc->qcd", q10, chill).reshape(-1, len(log_q10))
        mean: Array = self._mean @ weights
        if self._variance is None:
            return mean, np.zeros_like(mean)
        return mean, np.maximum(self._variance @ weights, 0.0)

    def take(self, rows: Indices) -> "ExposureTable":
        """Return the table of some lines."""
        table = object.__new__(ExposureTable)
        table._to_q10, table._to_chill = self._to_q10, self._to_chill
        table._mean = self._mean[rows]
        table._variance = None if self._variance is None else self._variance[rows]
        return table

    def longer(self, factor: float) -> "ExposureTable":
        """Return the table of the same lines had they been so many times as long on the way, in the same air."""
        table = self.take(np.arange(len(self)))
        table._mean[:, 0] += np.log(factor)  # that of the polynomial which is 1 everywhere
        return table


def _basis(points: Array, interval: tuple[float, float], n: int) -> Array:
    """Return the first n Chebyshev polynomials at points of an interval, (points, n)."""
    low, high = interval
    scaled = np.clip((2.0 * points - low - high) / (high - low), -1.0, 1.0)
    basis: Array = np.cos(np.outer(np.arccos(scaled), np.arange(n)))
    return basis


def tabulated_rates(inside_c: Array, threshold_c: Array, sensitivity: Array) -> Array:
    """Return damage rates at the tabulated points of an exposure, (temperatures, Q10_NODES, CHILL_NODES).

    Parameters
    ----------
    inside_c, threshold_c, sensitivity : (temperatures,)
    """
    rates: Array = damage_rate(
        inside_c[:, None, None],
        ClockDraws(
            log_q10=ExposureTable.log_q10_points[:, None],
            threshold_c=threshold_c[:, None, None],
            chill_per_day_c=np.exp(ExposureTable.log_chill_points) * sensitivity[:, None, None],
        ),
    )
    return rates


def constant_log_days(inside_c: Array, days: Array, threshold_c: Array, sensitivity: Array) -> Array:
    """Return log equivalent days at the tabulated points of lines whose air in the box was constant and known.

    Parameters
    ----------
    inside_c, days, threshold_c, sensitivity : (lines,)

    Returns
    -------
    (lines, Q10_NODES, CHILL_NODES)
    """
    log_days: Array = np.log(days)[:, None, None] + np.log(tabulated_rates(inside_c, threshold_c, sensitivity))
    return log_days
