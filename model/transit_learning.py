"""Time in transit learned from own boxes: lane by service, pooled to the service, with the share of delays.

    T = exp(m + l) x T0(share),   m ~ N(0, 0.25), l ~ N(0, 0.2) a lane,   share ~ Beta about the table's

T0 is the table's time in transit. A box known by its dates arrived within a day of them; one still on its way is
censored at the days gone by. The posterior is taken on a grid, lanes integrated: no approximation but the grid's.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import special

from model.observations import Indices
from model.transit import TransitTime
from model.transit_body import TransitBody

Array = NDArray[np.float64]

# Prior spreads of a service and of a lane on the log scale, and the boxes that the table's share of delays is worth
# (judgement, from memory).
SERVICE_SD_LOG, LANE_SD_LOG = 0.25, 0.2
SHARE_WORTH_BOXES = 20.0
FACTOR_GRID = np.linspace(-1.5, 1.5, 61)
SHARE_QUANTILES = (np.arange(9) + 0.5) / 9
TABULATED_DAYS = np.geomspace(0.1, 400.0, 300)
LEAST_LOG_SF = -700.0
# A box that the table's times cannot explain at any factor is as unlikely as this, not impossible.
LEAST_LOG_CHANCE = -30.0


@dataclass(frozen=True, slots=True, eq=False)
class TransitRecord:
    """Boxes of one service.

    Attributes
    ----------
    days : (boxes,)
        Closing to opening; for a box on its way, the days gone by.
    half_width_days : (boxes,)
        How far the days of an arrived box may be off: 1 for dates without times.
    arrived : (boxes,) bool
    lane : (boxes,)
        Index of the lane.
    """

    days: Array
    half_width_days: Array
    arrived: NDArray[np.bool_]
    lane: Indices


@dataclass(frozen=True, slots=True, eq=False)
class LearnedTransit:
    """Posterior of a service: log factors on its days (mean, sd) for a new lane and for each lane; share of delays."""

    log_factor: float
    log_factor_sd: float
    lane_log_factor: Array
    lane_log_factor_sd: Array
    delay_share: float

    def transit(self, base: TransitTime, lane: int | None) -> TransitTime:
        """Return the time in transit on a lane (None: one without boxes) at the posterior means."""
        log_factor = self.log_factor if lane is None else float(self.lane_log_factor[lane])
        share = base.delay.share if base.delay.share == 0 else self.delay_share
        return scaled(replace(base, delay=base.delay.with_share(share)), float(np.exp(log_factor)))


def scaled(base: TransitTime, factor: float) -> TransitTime:
    """Return the time in transit with its body's days multiplied by a factor; delays keep their length."""
    body = base.body
    if body.on_log:
        moved: TransitBody = replace(
            body, location=body.location + np.log(factor), minimum_days=body.minimum_days * factor
        )
    else:
        moved = replace(
            body,
            location=body.location * factor,
            scale=body.scale * factor,
            minimum_days=body.minimum_days * factor,
        )
    return replace(base, body=moved)


def learn_transit(base: TransitTime, record: TransitRecord, n_lanes: int) -> LearnedTransit:
    """Return the posterior of one service's times from its boxes.

    Parameters
    ----------
    base : TransitTime
        The table's.
    record : TransitRecord
        May be empty: then the prior comes back.
    n_lanes : int
    """
    shares, log_prior_share = _share_grid(base.delay.share)
    log_m = -0.5 * (FACTOR_GRID / SERVICE_SD_LOG) ** 2
    offsets = FACTOR_GRID[np.abs(FACTOR_GRID) <= 4.0 * LANE_SD_LOG]
    log_l = -0.5 * (offsets / LANE_SD_LOG) ** 2
    log_l -= special.logsumexp(log_l)
    joint = np.empty((len(shares), len(FACTOR_GRID)))
    by_lane = np.zeros((len(shares), n_lanes, len(FACTOR_GRID)))
    for i, share in enumerate(shares):
        delayed = base if base.delay.share == 0 else replace(base, delay=base.delay.with_share(float(share)))
        by_box = _log_likelihood(delayed, record)
        np.add.at(by_lane[i], record.lane, by_box)
        joint[i] = log_prior_share[i] + log_m + _marginal(by_lane[i], offsets, log_l).sum(axis=0)
    weight = np.exp(joint - special.logsumexp(joint))
    by_m = weight.sum(axis=0)
    mean = float(by_m @ FACTOR_GRID)
    lane_mean, lane_sd = np.empty(n_lanes), np.empty(n_lanes)
    for lane in range(n_lanes):
        lane_mean[lane], lane_sd[lane] = _lane_moments(weight, by_lane[:, lane], offsets, log_l)
    return LearnedTransit(
        log_factor=mean,
        log_factor_sd=float(np.sqrt(by_m @ (FACTOR_GRID - mean) ** 2 + LANE_SD_LOG**2)),
        lane_log_factor=lane_mean,
        lane_log_factor_sd=lane_sd,
        delay_share=float(weight.sum(axis=1) @ shares),
    )


def _share_grid(share: float) -> tuple[Array, Array]:
    if share == 0:
        return np.zeros(1), np.zeros(1)
    a, b = SHARE_WORTH_BOXES * share, SHARE_WORTH_BOXES * (1.0 - share)
    shares: Array = special.betaincinv(a, b, SHARE_QUANTILES)
    return shares, np.full(len(shares), -np.log(len(shares)))


def _log_likelihood(base: TransitTime, record: TransitRecord) -> Array:
    """Return the log likelihood of each box at each factor, (boxes, factors)."""
    low = np.maximum(record.days - record.half_width_days, 0.0)
    high = record.days + record.half_width_days
    result = np.empty((len(record.days), len(FACTOR_GRID)))
    for j, log_factor in enumerate(FACTOR_GRID):
        log_sf = np.maximum(scaled(base, float(np.exp(log_factor))).log_sf(TABULATED_DAYS), LEAST_LOG_SF)
        at_low, at_high, now = (np.interp(days, TABULATED_DAYS, log_sf, left=0.0) for days in (low, high, record.days))
        between = at_low + np.log(-np.expm1(np.minimum(at_high - at_low, -1e-12)))
        result[:, j] = np.where(record.arrived, between, now)
    return np.maximum(result, LEAST_LOG_CHANCE)


def _marginal(by_lane: Array, offsets: Array, log_l: Array) -> Array:
    """Return each lane's log likelihood at each m, its own deviation integrated, (lanes, factors)."""
    shifted = np.stack([_shift(by_lane, float(offset)) for offset in offsets])
    marginal: Array = special.logsumexp(shifted + log_l[:, None, None], axis=0)
    return marginal


def _shift(by_lane: Array, offset: float) -> Array:
    step = round(offset / (FACTOR_GRID[1] - FACTOR_GRID[0]))
    index = np.clip(np.arange(len(FACTOR_GRID)) + step, 0, len(FACTOR_GRID) - 1)
    return by_lane[:, index]


def _lane_moments(weight: Array, own: Array, offsets: Array, log_l: Array) -> tuple[float, float]:
    """Return mean and sd of m + l of one lane."""
    shifted = np.stack([_shift(own, float(offset)) for offset in offsets])  # (offsets, shares, factors)
    given = np.exp(shifted + log_l[:, None, None] - special.logsumexp(shifted + log_l[:, None, None], axis=0))
    total = FACTOR_GRID[None, None, :] + offsets[:, None, None]
    share = given * weight
    mean = float((share * total).sum())
    return mean, float(np.sqrt((share * (total - mean) ** 2).sum()))
