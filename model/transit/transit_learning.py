"""Time in transit learned from own boxes: lane by service, pooled to the service, with the share of delays.

    T = lane scale x exp(m + l) x B(s) + delay

B is the body of the table's time in transit, its distance from its median multiplied by s on the log scale. m is the
service's, l a lane's own; a delay comes with a chance that is learned as well. The table speaks of a box on a lane that
nobody knows, so its spread is divided: part of it is the service's, part the lane's, the rest is left between boxes.
A box known by its dates arrived within a day of them; one still on its way is censored at the days gone by, unless it
was lost and nobody said so. The posterior is taken on a grid, lanes integrated: no approximation but the grid's, which
is 5 % of the days wide.
"""

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from model.exposure import Indices
from model.quadrature import SCORE_P90
from model.reference import CONSTANTS, QUANTILES
from model.transit.transit import TransitTime
from model.transit.transit_body import TransitBody

Array = NDArray[np.float64]

# Of the variance of log days in the table, what lies between services as they are and as tabulated, and between lanes.
SERVICE_PART, LANE_PART = CONSTANTS.transit_service_part, CONSTANTS.transit_lane_part
# What is left between boxes is at least this part of the table's, and is known to this.
LEAST_SPREAD, SPREAD_SD_LOG = CONSTANTS.transit_least_spread, CONSTANTS.transit_spread_sd_log
# The boxes that the table's share of delays is worth.
SHARE_WORTH_BOXES = CONSTANTS.transit_share_worth_boxes
# Of the boxes on their way, those that are lost without anybody having said so.
LOST_SHARE = CONSTANTS.transit_lost_share

STEP = 0.05
# From a fifth of the table's days to 25 times as many; bodies are tabulated for shorter lanes too.
FACTOR_GRID = STEP * np.arange(-30, 66)
TABULATED_FACTORS = STEP * np.arange(-46, 74)
TABULATED_DAYS = np.geomspace(0.3, 200.0, 150)
SHARE_QUANTILES = (np.arange(9) + 0.5) / 9
SPREAD_SCORES = 0.75 * np.arange(-4.0, 4.0)
LEAST_LOG_SF = -700.0
# A box that the table's times cannot explain at any factor is as unlikely as this, not impossible.
LEAST_LOG_CHANCE = -30.0
# Tables of services that are kept, 2 MB each.
KEPT_TABLES = 8
CHANCES = np.array(QUANTILES)


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
    """Posterior of a service, and what it says of the next box.

    Attributes
    ----------
    quantiles : (3,)
        Days not exceeded with chance 0.1, 0.5 and 0.9 on a long lane without own boxes, over the posterior.
    lane_quantiles : (lanes, 3)
        The same on each lane.
    delay_share : float
        Posterior mean.
    """

    quantiles: Array
    lane_quantiles: Array
    delay_share: float


class PriorSpreads(NamedTuple):
    """Prior sds of m and l on the log scale, and how far the body's spread is narrowed to make room for them."""

    service_sd: float
    lane_sd: float
    body: float


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


def prior_spreads(base: TransitTime) -> PriorSpreads:
    """Return how the spread of the table's days is divided."""
    total, body = (_log_variance(days) for days in (base.quantile(CHANCES), base.body.quantile(CHANCES)))
    left = 1.0 - (SERVICE_PART + LANE_PART) * total / body
    return PriorSpreads(
        float(np.sqrt(SERVICE_PART * total)),
        float(np.sqrt(LANE_PART * total)),
        float(np.sqrt(max(left, LEAST_SPREAD**2))),
    )


def learn_transit(base: TransitTime, record: TransitRecord, lane_scale: Array) -> LearnedTransit:
    """Return the posterior of one service's times from its boxes.

    Parameters
    ----------
    base : TransitTime
        The table's, on a long lane; not a fixed time.
    record : TransitRecord
        May be empty: then the prior comes back.
    lane_scale : (lanes,)
        What part of the body's days a lane takes, in [0.5, 1].
    """
    prior = prior_spreads(base)
    tables = _tables(base, prior.body)
    shares, log_share = _share_grid(base.delay.share)
    log_spread = _log_normal_weights(SPREAD_SCORES)
    log_m = _log_normal_weights(np.asarray(FACTOR_GRID / prior.service_sd))
    offsets = FACTOR_GRID[np.abs(FACTOR_GRID) <= max(4.0 * prior.lane_sd, 2.0 * STEP)]
    log_l = _log_normal_weights(offsets / prior.lane_sd)
    n_lanes = len(lane_scale)
    alike, counts = _alike(record)
    times = _Times.of(alike)
    by_lane = np.zeros((len(shares), len(SPREAD_SCORES), n_lanes, len(FACTOR_GRID)))
    for i, share in enumerate(shares):
        for j in range(len(SPREAD_SCORES)):
            _add_log_likelihood(by_lane[i, j], tables.log_sf(j, float(share)), alike, times, counts, lane_scale)
    joint = log_share[:, None, None] + log_spread[:, None] + log_m
    for lane in range(n_lanes):
        joint = joint + special.logsumexp(_given_offsets(by_lane[:, :, lane], offsets, log_l), axis=0)
    weight = np.exp(joint - special.logsumexp(joint))
    new_lane = _total_factor(weight[None] * np.exp(log_l)[:, None, None, None], offsets)
    lanes = []
    for lane in range(n_lanes):
        shifted = _given_offsets(by_lane[:, :, lane], offsets, log_l)
        given = np.exp(shifted - special.logsumexp(shifted, axis=0))
        lanes.append(_total_factor(given * weight, offsets))
    scales = np.log(lane_scale)
    return LearnedTransit(
        quantiles=tables.quantiles(new_lane, shares, 0.0),
        lane_quantiles=np.array(
            [tables.quantiles(own, shares, float(at)) for own, at in zip(lanes, scales, strict=True)]
        ).reshape(n_lanes, 3),
        delay_share=float(weight.sum(axis=(1, 2)) @ shares),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Tables:
    """P(T > days) without and with a delay, (spreads, factors, days) each."""

    prompt: Array
    late: Array

    def log_sf(self, spread: int, share: float) -> Array:
        """Return log P(T > days), (factors, days)."""
        sf = (1.0 - share) * self.prompt[spread] + share * self.late[spread]
        with np.errstate(divide="ignore"):
            return np.asarray(np.maximum(np.log(sf), LEAST_LOG_SF))

    def quantiles(self, weight: Array, shares: Array, log_scale: float) -> Array:
        """Return the days at `CHANCES`, averaged over (shares, spreads, tabulated factors), on a lane of this scale."""
        at = _interpolation(log_scale)
        delayed = weight * shares[:, None, None]
        sf = np.tensordot((weight - delayed).sum(axis=0) @ at, self.prompt)
        sf = sf + np.tensordot(delayed.sum(axis=0) @ at, self.late)
        return np.asarray(np.exp(np.interp(CHANCES, np.maximum.accumulate(1.0 - sf), np.log(TABULATED_DAYS))))


@lru_cache(maxsize=KEPT_TABLES)
def _tables(base: TransitTime, spread: float) -> _Tables:
    """Return the tables of a service; no box changes them, so they are worked out once."""
    factors = np.exp(TABULATED_FACTORS)
    prompt = np.empty((len(SPREAD_SCORES), len(TABULATED_FACTORS), len(TABULATED_DAYS)))
    late = prompt if base.delay.share == 0 else np.empty_like(prompt)
    for j, score in enumerate(SPREAD_SCORES):
        body = _spread(base.body, spread * float(np.exp(SPREAD_SD_LOG * score)))
        prompt[j] = np.exp(body.log_sf(TABULATED_DAYS / factors[:, None]))
        if base.delay.share > 0:
            late[j] = np.exp(base.delay.log_sf_scaled(body, TABULATED_DAYS, factors))
    prompt.flags.writeable = late.flags.writeable = False
    return _Tables(prompt, late)


def _interpolation(log_scale: float) -> Array:
    """Return the matrix that takes tables at `TABULATED_FACTORS` to those factors times a lane's scale."""
    position = np.clip((TABULATED_FACTORS + log_scale - TABULATED_FACTORS[0]) / STEP, 0.0, len(TABULATED_FACTORS) - 1.0)
    low = np.minimum(position.astype(np.intp), len(TABULATED_FACTORS) - 2)
    part, row = position - low, np.arange(len(position))
    matrix = np.zeros((len(position), len(position)))
    matrix[row, low], matrix[row, low + 1] = 1.0 - part, part
    return matrix


def _spread(body: TransitBody, spread: float) -> TransitBody:
    """Return a body whose 80 % range about its median is narrowed or widened on the log scale."""
    p10, p50, p90 = (float(days) for days in body.quantile(CHANCES))
    low, high = p50 * (p10 / p50) ** spread, p50 * (p90 / p50) ** spread
    least = body.minimum_days + 0.5 * (p10 - body.minimum_days)
    return TransitBody.from_quantiles(max(low, least), p50, high, body.minimum_days, on_log=body.on_log)


def _log_variance(days: Array) -> float:
    return float(np.log(days[2] / days[0]) / (2.0 * SCORE_P90)) ** 2


def _log_normal_weights(scores: Array) -> Array:
    log_weight = -0.5 * scores**2
    return np.asarray(log_weight - special.logsumexp(log_weight))


def _share_grid(share: float) -> tuple[Array, Array]:
    if share == 0:
        return np.zeros(1), np.zeros(1)
    a, b = SHARE_WORTH_BOXES * share, SHARE_WORTH_BOXES * (1.0 - share)
    shares: Array = special.betaincinv(a, b, SHARE_QUANTILES)
    return shares, np.full(len(shares), -np.log(len(shares)))


def _alike(record: TransitRecord) -> tuple[TransitRecord, Array]:
    """Return the boxes that differ, and how many there are of each."""
    rows = np.stack([record.days, record.half_width_days, record.arrived, record.lane], axis=1)
    alike, counts = np.unique(rows, axis=0, return_counts=True)
    days, half_width, arrived, lane = alike.T
    return TransitRecord(days, half_width, arrived.astype(bool), lane.astype(np.intp)), counts.astype(float)


class _Times(NamedTuple):
    """The ends of each box's interval and its days so far, as places between the tabulated days."""

    low: "_Places"
    high: "_Places"
    now: "_Places"

    @classmethod
    def of(cls, record: TransitRecord) -> "_Times":
        days, half_width = record.days, record.half_width_days
        return cls(*map(_Places.of, (np.maximum(days - half_width, 0.0), days + half_width, days)))


class _Places(NamedTuple):
    """Where days lie in `TABULATED_DAYS`: the one below, and how far on to the next; before the first all are alive."""

    below: NDArray[np.intp]
    part: Array
    before: NDArray[np.bool_]

    @classmethod
    def of(cls, days: Array) -> "_Places":
        below = np.clip(np.searchsorted(TABULATED_DAYS, days, side="right") - 1, 0, len(TABULATED_DAYS) - 2)
        part = (days - TABULATED_DAYS[below]) / (TABULATED_DAYS[below + 1] - TABULATED_DAYS[below])
        return cls(below, np.clip(part, 0.0, 1.0), days < TABULATED_DAYS[0])

    def __call__(self, log_sf: Array) -> Array:
        """Return a table's (factors, days) log P(T > days) there, (boxes, factors); along straight lines."""
        low = log_sf[:, self.below]
        at = low + self.part * (log_sf[:, self.below + 1] - low)
        return np.where(self.before, 0.0, at).T


def _add_log_likelihood(
    by_lane: Array, log_sf: Array, record: TransitRecord, times: _Times, counts: Array, lane_scale: Array
) -> None:
    """Add the log likelihood of the boxes of each lane, (lanes, factors)."""
    at_low, at_high, now = (places(log_sf) for places in times)
    between = at_low + np.log(-np.expm1(np.minimum(at_high - at_low, -1e-12)))
    still = np.logaddexp(np.log1p(-LOST_SHARE) + now, np.log(LOST_SHARE))
    by_box = np.maximum(np.where(record.arrived[:, None], between, still), LEAST_LOG_CHANCE) * counts[:, None]
    tabulated = np.zeros((len(by_lane), len(TABULATED_FACTORS)))
    np.add.at(tabulated, record.lane, by_box)
    for i, scale in enumerate(lane_scale):
        by_lane[i] += np.interp(FACTOR_GRID + np.log(scale), TABULATED_FACTORS, tabulated[i])


def _given_offsets(own: Array, offsets: Array, log_l: Array) -> Array:
    """Return one lane's log likelihood plus log prior of l at each l and m, (offsets, shares, spreads, factors)."""
    index = np.arange(len(FACTOR_GRID)) + np.rint(offsets / STEP).astype(np.intp)[:, None]
    shifted = own[:, :, np.clip(index, 0, len(FACTOR_GRID) - 1)]
    return np.asarray(np.moveaxis(shifted, 2, 0) + log_l[:, None, None, None])


def _total_factor(weight: Array, offsets: Array) -> Array:
    """Return the weights of m + l at `TABULATED_FACTORS`, (shares, spreads, factors), from those of l and m."""
    total = np.zeros((len(TABULATED_FACTORS), *weight.shape[1:3]))
    first = np.rint((FACTOR_GRID[0] - TABULATED_FACTORS[0]) / STEP).astype(np.intp)
    for own, offset in zip(weight, np.rint(offsets / STEP).astype(np.intp), strict=True):
        index = np.clip(first + offset + np.arange(len(FACTOR_GRID)), 0, len(TABULATED_FACTORS) - 1)
        np.add.at(total, index, np.moveaxis(own, 2, 0))
    return np.moveaxis(total, 0, 2)
