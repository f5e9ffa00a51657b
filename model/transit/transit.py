"""Transit time from closing the box to opening it: a body and a mixture of delays, solved from total quantiles."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri, ndtri_exp

from model.reference import QUANTILES
from model.transit.delay import Delay, NoDelay
from model.transit.transit_body import TransitBody

Array = NDArray[np.float64]

# No box is opened sooner than a minute after it is closed: shorter times are taken as that.
SHORTEST_DAYS = 1.0 / 1440.0

_CHANCES = np.array(QUANTILES)
_TARGET_SCORES = np.asarray(ndtri(_CHANCES))
# A gap between two quantiles is taken to be at least this share of the median.
_LEAST_GAP_SHARE = 1e-3
MOST_MINIMUM_SHARE = 0.9
# A body whose minimum cuts off more than this no longer looks like its own curve.
_MOST_CUT_SHARE = 0.2
_MOST_LOG_BEND = 1.0
_SOLVED_WITHIN = 0.004
_LEAST_MARGIN = 1e-5
# The default share is halved until a body fits beside it; below this it is dropped.
_LEAST_SHARE = 1e-3
_MOST_STEPS = 40
_MOST_DAMPING = 1e6
_MISFIT_ZERO = 1e-7
_MISFIT_LARGE = 1e-4
_SETTLED = 0.98
_DIFFERENCE = 1e-6
_LEAST_CURVATURE = 1e-12
# Of the days between which a quantile lies: to rounding.
_HALVINGS = 52
_FINITE_SCORE = 40.0


@dataclass(frozen=True)
class TransitQuantiles:
    """Quantiles of the total transit time in days, delays included: 0 < p10 <= p50 <= p90, ValueError otherwise."""

    p10: float
    p50: float
    p90: float

    def __post_init__(self) -> None:
        if not 0.0 < self.p10 < np.inf:
            raise ValueError("p10: above 0 and finite")
        if not self.p10 <= self.p50 < np.inf:
            raise ValueError("p50: at least p10 and finite")
        if not self.p50 <= self.p90 < np.inf:
            raise ValueError("p90: at least p50 and finite")


@dataclass(frozen=True)
class TransitTime:
    """Total transit time of a box: a body, and with chance `delay.share` a delay on top.

    Times are in days. Arrays of any shape go in and come out of the same shape. Uniforms lie in [0, 1).

    Attributes
    ----------
    body : TransitBody
    delay : NoDelay, HoldDelay or MissedFlights
    """

    body: TransitBody
    delay: Delay

    def mean(self) -> float:
        """Return the mean total time, days."""
        return self.body.mean_days() + self.delay.share * self.delay.mean_days()

    def log_sf(self, days: ArrayLike) -> Array:
        """Return log P(T > days); relative error of the chance below 1e-6 down to 1e-18, and sensible beyond."""
        share = self.delay.share
        if share == 0:
            return self.body.log_sf(days)
        with np.errstate(divide="ignore"):
            prompt = np.log1p(-share) + self.body.log_sf(days)
        late = np.log(share) + self.delay.log_sf_after(self.body, days)
        return np.asarray(np.minimum(np.logaddexp(prompt, late), 0.0))

    def cdf(self, days: ArrayLike) -> Array:
        """Return P(T <= days)."""
        return -np.expm1(self.log_sf(days))

    def quantile(self, u: ArrayLike) -> Array:
        """Return the days not exceeded with chance u."""
        return self._days_at_log_sf(np.log1p(-np.asarray(u, dtype=np.float64)))

    def sample(self, body_u: ArrayLike, delayed_u: ArrayLike, delay_u: ArrayLike) -> tuple[Array, Array]:
        """Return total and delay in days by inverse distribution functions of three uniforms, all of shape (n,).

        Both never fall as any uniform rises, so routes and dates that share uniforms share their luck.
        """
        body = self.body.quantile(body_u)
        delay = np.zeros(body.shape)
        delayed = np.asarray(delayed_u) >= 1.0 - self.delay.share
        delay[delayed] = self.delay.draw(np.asarray(delay_u)[delayed])
        return body + delay, delay

    def sample_given(
        self, elapsed_days: float, body_u: ArrayLike, delayed_u: ArrayLike, delay_u: ArrayLike
    ) -> tuple[Array, Array]:
        """Return total and delay in days given T > elapsed_days, by exact truncation.

        First whether the box is delayed, then its delay, then its body, each from its own conditional distribution. The
        total never falls as `body_u` rises. At an elapsed time short of the minimum this is `sample`.

        Raises
        ------
        ValueError
            If no box takes that long.
        """
        log_sf = self._log_sf_so_far(elapsed_days)
        if log_sf == 0.0:
            return self.sample(body_u, delayed_u, delay_u)
        delay = np.zeros(np.shape(body_u))
        if self.delay.share > 0:
            log_late = np.log(self.delay.share) + float(self.delay.log_sf_after(self.body, elapsed_days))
            # With a share of 1, or a body that is bounded, nothing but a delay can be late.
            delayed = np.asarray(delayed_u) >= -np.expm1(log_late - log_sf)
            delay[delayed] = self.delay.draw_late(self.body, elapsed_days, np.asarray(delay_u)[delayed])
        body = self.body.quantile_above(body_u, elapsed_days - delay)
        return np.maximum(body + delay, elapsed_days), delay

    def _log_sf_so_far(self, elapsed_days: float) -> float:
        log_sf = float(self.log_sf(elapsed_days))
        if log_sf == -np.inf:
            raise ValueError("elapsed_days: no box takes that long")
        return log_sf

    def _days_at_log_sf(self, log_sf: Array) -> Array:
        share = self.delay.share
        least = self.body.days_at_log_sf(log_sf)
        if share == 0:
            return least
        # A total above x + y needs a body above x or a delay above y: half of the chance for each bounds the root.
        half = log_sf - np.log(2.0)
        most = self.body.days_at_log_sf(half) + self.delay.days_at_log_sf(np.minimum(half - np.log(share), 0.0))
        for _ in range(_HALVINGS):
            middle = 0.5 * (least + most)
            later = self.log_sf(middle) > log_sf
            least, most = np.where(later, middle, least), np.where(later, most, middle)
        return most


@dataclass(frozen=True)
class SolvedTransit:
    """A transit time that returns the wanted quantiles.

    Attributes
    ----------
    transit : TransitTime
    delay_share : float
        Chance of a delay in `transit`.
    share_lowered : bool
        No body fitted beside the delay's own share, so it was lowered.
    """

    transit: TransitTime
    delay_share: float
    share_lowered: bool


def solve_transit(quantiles: TransitQuantiles, delay: Delay, minimum_days: float) -> SolvedTransit:
    """Return the body that, with the delay on top, has these total quantiles.

    Parameters
    ----------
    quantiles : TransitQuantiles
        All equal: a fixed time without delays. Two nearly equal are moved apart by 0.1 % of the median, and none is
        taken below `SHORTEST_DAYS`.
    delay : NoDelay, HoldDelay or MissedFlights
        Its share is halved, in the end to 0, until a body fits beside it.
    minimum_days : float
        No box is faster, at least 0; taken as 0.9 of p10 at most.

    Returns
    -------
    SolvedTransit
        Quantiles within 0.5 % of those asked for, whatever their skew.

    Raises
    ------
    ValueError
        When `minimum_days` is negative or not finite.
    """
    if not 0.0 <= minimum_days < np.inf:
        raise ValueError("minimum_days: at least 0 and finite")
    p10, p50, p90 = (max(days, SHORTEST_DAYS) for days in (quantiles.p10, quantiles.p50, quantiles.p90))
    if p10 == p90:
        return SolvedTransit(TransitTime(TransitBody.point(p50), NoDelay()), 0.0, False)
    least_gap = _LEAST_GAP_SHARE * p50
    wanted = np.array([min(p10, p50 - least_gap), p50, max(p90, p50 + least_gap)])
    minimum = min(minimum_days, MOST_MINIMUM_SHARE * p10)
    share = delay.share
    while share > 0:
        beside = delay.with_share(share)
        # Even if every body came before p90, delays that outlast the time from the minimum to p90 would all be late.
        if share * float(delay.sf(wanted[2] - minimum)) < 1.0 - _CHANCES[2]:
            for on_log in (False, True):
                transit = _fit(wanted, beside, minimum, on_log=on_log)
                if transit is not None:
                    return SolvedTransit(transit, share, share < delay.share)
        if share <= _LEAST_SHARE:
            break
        share *= 0.5
    transit = _fit(wanted, NoDelay(), minimum, on_log=False)
    if transit is None:
        transit = TransitTime(_body(wanted, minimum, on_log=True), NoDelay())
    return SolvedTransit(transit, 0.0, delay.share > 0)


def _fit(wanted: Array, delay: Delay, minimum_days: float, *, on_log: bool) -> TransitTime | None:
    """Return the transit time of these quantiles by damped Newton steps (Levenberg-Marquardt), or None.

    The unknowns are the quantiles of the body before truncation: its median, and the logs of the gaps around it.
    """
    start = np.log(wanted - minimum_days) if on_log else wanted
    # On the log scale a right skew has a doubly exponential tail; a delay can take little of the skew upon itself.
    if on_log and _body(wanted, minimum_days, on_log=True).bend > _MOST_LOG_BEND:
        return None

    def transit_at(unknown: Array) -> TransitTime:
        p50 = start[1] + unknown[0] * min(start[1] - start[0], start[2] - start[1])
        p10 = p50 - (start[1] - start[0]) * np.exp(unknown[1])
        p90 = p50 + (start[2] - start[1]) * np.exp(unknown[2])
        days = np.array([p10, p50, p90])
        days = minimum_days + np.exp(days) if on_log else days
        return TransitTime(_body(days, minimum_days, on_log=on_log), delay)

    def misfit(unknown: Array) -> Array:
        return np.asarray(_score(transit_at(unknown).log_sf(wanted)) - _TARGET_SCORES)

    unknown = _least_squares(misfit, np.zeros(3))
    transit = transit_at(unknown)
    unfit = transit.body.bend > 0 if on_log else transit.body.cut_share > _MOST_CUT_SHARE
    near = transit.cdf(np.concatenate([wanted * (1.0 - _SOLVED_WITHIN), wanted * (1.0 + _SOLVED_WITHIN)]))
    # On a plateau between flights, or before a long delay, a quantile is not determined: the margin refuses those.
    if unfit or np.any(near[:3] > _CHANCES - _LEAST_MARGIN) or np.any(near[3:] < _CHANCES + _LEAST_MARGIN):
        return None
    return transit


def _body(quantiles: Array, minimum_days: float, *, on_log: bool) -> TransitBody:
    p10, p50, p90 = (float(days) for days in quantiles)
    return TransitBody.from_quantiles(p10, p50, p90, minimum_days, on_log=on_log)


def _least_squares(misfit: Callable[[Array], Array], start: Array) -> Array:
    """Return the unknowns of least squared misfit, by damped Newton steps with difference quotients."""
    unknown, value = start, misfit(start)
    damping = 1e-4
    for _ in range(_MOST_STEPS):
        if np.max(np.abs(value)) < _MISFIT_ZERO:
            break
        jacobian = np.stack(
            [(misfit(unknown + step) - value) / _DIFFERENCE for step in _DIFFERENCE * np.eye(3)], axis=1
        )
        normal, slope = jacobian.T @ jacobian, jacobian.T @ value
        before = float(value @ value)
        while damping < _MOST_DAMPING:
            ridge = damping * np.diag(normal) + _LEAST_CURVATURE * (1.0 + np.trace(normal))
            move = np.linalg.solve(normal + np.diag(ridge), slope)
            trial = unknown - move / max(1.0, float(np.max(np.abs(move))))
            trial_value = misfit(trial)
            if trial_value @ trial_value < before:
                break
            damping *= 8.0
        else:
            break
        unknown, value, damping = trial, trial_value, damping / 8.0
        # Where no body fits, the misfit settles well above 0.
        if before > _MISFIT_LARGE and float(value @ value) > _SETTLED * before:
            break
    return unknown


def _score(log_sf: Array) -> Array:
    """Normal score of a chance given as its log survival function, held finite."""
    return np.asarray(np.clip(-ndtri_exp(log_sf), -_FINITE_SCORE, _FINITE_SCORE))
