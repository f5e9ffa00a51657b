"""Time in transit learned from own boxes: lane by service, pooled to the service, with the body's shape and its delays.

    T = lane scale x exp(m + l) x B + delay

B is the body of the table's time in transit, with a spread and a skew that are learned of the service. m is the
service's, l a lane's own; a delay comes with a chance that is learned as well, and so is how long it is
(`transit_tables`). The table speaks of a box on a lane that nobody knows, so its spread is divided: part of it is the
service's, part the lane's, the rest is left between boxes. A box known by its dates arrived within a day of them; one
still on its way is censored at the days gone by, unless it was lost and nobody said so. The posterior is taken on a
grid, lanes integrated: no approximation but the grid's, which is 4 % of the days wide.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from model.exposure import Indices
from model.quadrature import SCORE_P90
from model.reference import CONSTANTS
from model.transit.delay import HoldDelay
from model.transit.transit import TransitTime
from model.transit.transit_body import TransitBody
from model.transit.transit_tables import (
    CHANCES,
    STEP,
    TABULATED_DAYS,
    TABULATED_FACTORS,
    TransitTables,
    log_normal_weights,
    transit_tables,
)

Array = NDArray[np.float64]

SPREAD_SD_LOG, SKEW_SD_LOG = CONSTANTS.transit_spread_sd_log, CONSTANTS.transit_skew_sd_log
# Of the variance of log days in the table, what lies between services as they are and as tabulated, and between lanes.
SERVICE_PART, LANE_PART = CONSTANTS.transit_service_part, CONSTANTS.transit_lane_part
# What is left between boxes is expected to be at least this part of the table's.
LEAST_SPREAD = CONSTANTS.transit_least_spread
# The boxes that the table's share of delays is worth, and how well their size is known.
SHARE_WORTH_BOXES, SIZE_SD_LOG = CONSTANTS.transit_share_worth_boxes, CONSTANTS.transit_size_sd_log
# Holds spread by this on the log scale in learning, or as the table says if that is more.
HOLD_SD_LOG = CONSTANTS.transit_hold_sd_log
# Of the boxes on their way, those that are lost without anybody having said so.
LOST_SHARE = CONSTANTS.transit_lost_share

# From a fifth of the table's days to 25 times as many.
FACTOR_GRID: Array = STEP * np.arange(-30.0, 66.0)
# Where the prior of the share is tabulated, and where one of these parts ends and the next begins: far up too, since
# a service may be held up several times as often as the table says.
SHARE_QUANTILES = np.array([0.08, 0.25, 0.43, 0.61, 0.78, 0.91, 0.977, 0.996, 0.9995])
SHARE_EDGES = np.append(0.0, np.append(0.5 * (SHARE_QUANTILES[1:] + SHARE_QUANTILES[:-1]), 1.0))
# A box that the table's times cannot explain at any factor is as unlikely as this, not impossible.
LEAST_LOG_CHANCE = -30.0
# Boxes of a lane at one factor are no less likely than this, beside the likeliest: so that nothing underflows.
LEAST_LOG_LIKELIHOOD = -600.0
# Bodies with less of the posterior are left out of what is said of lanes.
LEAST_BODY = 1e-4
# Gauss-Legendre over the rounding of dates, days.
ROUNDING_NODE, ROUNDING_WEIGHT = (0.5 + 0.5 * part for part in np.polynomial.legendre.leggauss(3))


@dataclass(frozen=True, slots=True, eq=False)
class TransitRecord:
    """Boxes of one service.

    Attributes
    ----------
    days : (boxes,)
        Closing to opening; for a box on its way, the days gone by.
    half_width_days : (boxes,)
        How far the days of an arrived box may be off, all as likely.
    arrived : (boxes,) bool
    lane : (boxes,)
        Index of the lane.
    rounding_days : (boxes,) or scalar
        How much further they may be off since dates have no time of day, less likely the further: 1, else 0.
    """

    days: Array
    half_width_days: Array
    arrived: NDArray[np.bool_]
    lane: Indices
    rounding_days: ArrayLike = 0.0


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
    delay_size : float
        By what delays are longer than the table's, posterior median of a log-normal.
    again_share : float
        Posterior mean; 0 but where flights are missed.
    """

    quantiles: Array
    lane_quantiles: Array
    delay_share: float
    delay_size: float
    again_share: float


class PriorSpreads(NamedTuple):
    """Prior sds of m and l on the log scale, and how far the body's spread is narrowed to make room for them.

    Then how well spread and skew of the body are known, sds too.
    """

    service_sd: float
    lane_sd: float
    body: float
    spread_sd: float
    skew_sd: float


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


def prior_spreads(base: TransitTime, known_boxes: int = 0) -> PriorSpreads:
    """Return how the spread of the base's days is divided.

    Where it was learned from boxes of the lane, less of it lies between lanes and services: as much as so many boxes
    leave of a normal mean of which that is the prior; and so many leave of a normal's log sd, and of how it leans.
    """
    total, body = (_log_variance(days) for days in (base.quantile(CHANCES), base.body.quantile(CHANCES)))
    parts = SERVICE_PART + LANE_PART
    kept = 1.0 / (1.0 + known_boxes * parts / (1.0 - parts))
    left = 1.0 - kept * parts * total / body
    return PriorSpreads(
        float(np.sqrt(SERVICE_PART * kept * total)),
        float(np.sqrt(LANE_PART * kept * total)),
        float(np.sqrt(max(left, LEAST_SPREAD**2))),
        *(float(1.0 / np.sqrt(1.0 / sd**2 + 2.0 * known_boxes)) for sd in (SPREAD_SD_LOG, SKEW_SD_LOG)),
    )


def learn_transit(
    base: TransitTime, record: TransitRecord, lane_scale: Array, *, known_boxes: int = 0
) -> LearnedTransit:
    """Return the posterior of one service's times from its boxes.

    Parameters
    ----------
    base : TransitTime
        The table's, on a long lane; not a fixed time.
    record : TransitRecord
        May be empty: then the prior comes back.
    lane_scale : (lanes,)
        What part of the body's days a lane takes, in [0.5, 1].
    known_boxes : int
        Other boxes of the lane, which `base` was learned from already.
    """
    prior = prior_spreads(base, known_boxes)
    tables = transit_tables(_with_wide_holds(base), prior.body, prior.spread_sd, prior.skew_sd, SIZE_SD_LOG)
    shares, log_share = _share_grid(base.delay.share, SHARE_WORTH_BOXES + known_boxes)
    between_lanes = _between_lanes(prior.lane_sd)
    lanes = [_Boxes.of(record, lane, np.log(scale)) for lane, scale in enumerate(lane_scale)]
    # (bodies, agains, sizes, shares, m)
    joint = (
        tables.log_body[:, None, None, None, None]
        + tables.log_size[:, None, None]
        + log_share[:, None]
        + log_normal_weights(np.asarray(FACTOR_GRID / prior.service_sd))
        + np.zeros((len(tables.agains), 1, 1, 1))
    )
    everything = np.arange(len(tables.log_body))
    for boxes in lanes:
        likelihood, most = boxes.likelihood(tables, shares, everything)
        joint += np.log(likelihood @ between_lanes) + most
    weight = np.exp(joint - special.logsumexp(joint))
    matter = np.flatnonzero(weight.sum(axis=(1, 2, 3, 4)) > LEAST_BODY)
    kept = weight[matter] / weight[matter].sum()

    def quantiles(total: Array, log_scale: float) -> Array:
        return _quantiles(tables, matter, total, shares, log_scale)

    own = []
    for boxes in lanes:
        likelihood, _ = boxes.likelihood(tables, shares, matter)
        total = likelihood * ((kept / (likelihood @ between_lanes)) @ between_lanes.T)
        own.append(quantiles(total, boxes.log_scale))
    return LearnedTransit(
        quantiles=quantiles(kept @ between_lanes.T, 0.0),
        lane_quantiles=np.array(own).reshape(len(lanes), 3),
        delay_share=float(weight.sum(axis=(0, 1, 2, 4)) @ shares),
        delay_size=float(np.exp(weight.sum(axis=(0, 1, 3, 4)) @ tables.log_sizes)),
        again_share=float(weight.sum(axis=(0, 2, 3, 4)) @ tables.agains),
    )


class _Boxes(NamedTuple):
    """The boxes of a lane that differ, and how the chance of each follows from P(T > days) at the tabulated days."""

    read: Array  # (days, boxes): chance = sf @ read + beyond
    beyond: Array
    counts: Array
    log_scale: float

    @classmethod
    def of(cls, record: TransitRecord, lane: int, log_scale: float) -> "_Boxes":
        rounding = np.broadcast_to(np.asarray(record.rounding_days, dtype=float), record.days.shape)
        rows = np.stack([record.days, record.half_width_days, rounding, record.arrived], axis=1)[record.lane == lane]
        alike, counts = np.unique(rows, axis=0, return_counts=True)
        days, half_width, rounding, arrived = alike.T
        still, sure = _places(days)
        waiting = 1.0 - arrived
        read, beyond = waiting * (1.0 - LOST_SHARE) * still, waiting * (LOST_SHARE + (1.0 - LOST_SHARE) * sure)
        for node, part in zip(ROUNDING_NODE, ROUNDING_WEIGHT, strict=True):
            off = half_width + node * rounding
            (low, low_sure), (high, high_sure) = _places(days - off), _places(days + off)
            read += part * arrived * (low - high)
            beyond += part * arrived * (low_sure - high_sure)
        return cls(read, beyond, counts.astype(np.float32), log_scale)

    def likelihood(self, tables: TransitTables, shares: Array, bodies: Indices) -> tuple[Array, Array]:
        """Return the likelihood at each m + l beside its most, (bodies, agains, sizes, shares, factors), and its log.

        In single precision but for differences of chances: relative error below 1e-5 a box.
        """
        n_agains, n_sizes = len(tables.agains), len(tables.log_size)
        log_likelihood = np.empty((len(bodies), n_agains, n_sizes, len(shares), len(TABULATED_FACTORS)))
        with_delay = shares.astype(np.float32)[:, None, None]
        late_tables = [tables.late_of(size) for size in range(n_sizes)]
        for i, body in enumerate(bodies):
            prompt = self._chances(tables.prompt[body])
            for again in range(n_agains):
                for size, late_table in enumerate(late_tables):
                    more = self._chances(late_table[body, again]) - prompt
                    chance = prompt + with_delay * more
                    np.log(chance, out=chance)
                    log_likelihood[i, again, size] = chance @ self.counts
        at_grid = log_likelihood @ _interpolation(FACTOR_GRID + self.log_scale).T
        most = at_grid.max(axis=-1, keepdims=True)
        return np.exp(np.maximum(at_grid - most, LEAST_LOG_LIKELIHOOD)), most

    def _chances(self, sf: Array) -> NDArray[np.float32]:
        """Return the chance of each box at each tabulated factor, (factors, boxes)."""
        chance = sf @ self.read + self.beyond
        return np.maximum(chance, np.exp(LEAST_LOG_CHANCE)).astype(np.float32)


def _places(days: Array) -> tuple[Array, Array]:
    """Return what gives P(T > days) at other days than the tabulated: weights of those, (tabulated, days), and a rest.

    Along straight lines; it is 1 before the tabulated days, by the rest, and 0 after them.
    """
    weights = np.zeros((len(TABULATED_DAYS), len(days)))
    below = np.clip(np.searchsorted(TABULATED_DAYS, days, side="right") - 1, 0, len(TABULATED_DAYS) - 2)
    part = (days - TABULATED_DAYS[below]) / (TABULATED_DAYS[below + 1] - TABULATED_DAYS[below])
    box, before = np.arange(len(days)), days < TABULATED_DAYS[0]
    within = ~before & (days <= TABULATED_DAYS[-1])
    weights[below, box] = within * (1.0 - part)
    weights[below + 1, box] = within * part
    return weights, before.astype(float)


def _interpolation(log_factors: Array) -> Array:
    """Return the matrix that takes tables at `TABULATED_FACTORS` to other factors, (factors, tabulated)."""
    position = np.clip((log_factors - TABULATED_FACTORS[0]) / STEP, 0.0, len(TABULATED_FACTORS) - 1.0)
    low = np.minimum(position.astype(np.intp), len(TABULATED_FACTORS) - 2)
    part, row = position - low, np.arange(len(position))
    matrix = np.zeros((len(position), len(TABULATED_FACTORS)))
    matrix[row, low], matrix[row, low + 1] = 1.0 - part, part
    return matrix


def _between_lanes(lane_sd: float) -> Array:
    """Return the chance of l at each m + l (rows) and m (columns) of `FACTOR_GRID`."""
    offsets = FACTOR_GRID[:, None] - FACTOR_GRID
    near = np.abs(offsets) <= max(4.0 * lane_sd, 2.0 * STEP) + 1e-9
    weights = np.where(near, np.exp(-0.5 * (offsets / lane_sd) ** 2), 0.0)
    return np.asarray(weights / weights.sum(axis=0))


def _quantiles(tables: TransitTables, bodies: Indices, weight: Array, shares: Array, log_scale: float) -> Array:
    """Return the days at `CHANCES`, averaged over (bodies, agains, sizes, shares, m + l), on a lane of this scale."""
    at = _interpolation(FACTOR_GRID + log_scale)
    delayed = np.einsum("basqx,q->basx", weight, shares) @ at
    prompt = np.einsum("basqx,q->bx", weight, 1.0 - shares) @ at
    sf = np.einsum("bx,bxd->d", prompt, tables.prompt[bodies])
    for size in range(len(tables.log_size)):
        sf += np.einsum("bax,baxd->d", delayed[:, :, size], tables.late_of(size)[bodies])
    return np.asarray(np.exp(np.interp(CHANCES, np.maximum.accumulate(1.0 - sf), np.log(TABULATED_DAYS))))


def _with_wide_holds(base: TransitTime) -> TransitTime:
    """Return the time with holds of every length: else the body stretches to hold those that are not as the table's."""
    delay = base.delay
    if not isinstance(delay, HoldDelay):
        return base
    return replace(base, delay=replace(delay, sd_log=max(delay.sd_log, HOLD_SD_LOG)))


def _log_variance(days: Sequence[float] | Array) -> float:
    return float(np.log(days[2] / days[0]) / (2.0 * SCORE_P90)) ** 2


def _share_grid(share: float, worth_boxes: float) -> tuple[Array, Array]:
    if share == 0:
        return np.zeros(1), np.zeros(1)
    a, b = worth_boxes * share, worth_boxes * (1.0 - share)
    shares: Array = special.betaincinv(a, b, SHARE_QUANTILES)
    return shares, np.log(np.diff(SHARE_EDGES))
