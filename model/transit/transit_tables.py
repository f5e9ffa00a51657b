"""P(T > days) of a service over all that is learned of it, on a grid: body's spread, skew and factor, delays' size.

    T = factor x B + size x D

B is the table's body with its distances from the median multiplied on the log scale, by the spread on both sides and by
the skew once up and once down. D is the table's delay; of missed flights the share that misses the next one too is
learned as well. Factors, sizes and days are even on the log scale, so delays of one size are those of another read
elsewhere in one table: P(factor B + size D > days) = P(factor / size B + D > days / size).
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

from model.reference import CONSTANTS, QUANTILES
from model.transit.delay import Delay, HoldDelay, MissedFlights
from model.transit.transit import TransitTime
from model.transit.transit_body import TransitBody

Array = NDArray[np.float64]

CHANCES = np.array(QUANTILES)

STEP, DAYS_STEP = 0.05, 0.04


def _log_factors(beyond: int = 0) -> Array:
    """Return the logs of the factors, from a tenth of the table's days to 38 times as many and steps beyond.

    Lanes are at most twice as short as the service.
    """
    return STEP * np.arange(-46.0 - beyond, 74.0 + beyond)


def _days(before: int = 0) -> Array:
    """Return the days, from 0.3 to 200 and as many steps before and after."""
    days: Array = 0.3 * np.exp(DAYS_STEP * np.arange(-before, 164 + before))
    return days


TABULATED_FACTORS, TABULATED_DAYS = _log_factors(), _days()
# The sizes of delays, as many steps of factors and of days apart.
SIZE_IN_FACTORS, SIZE_IN_DAYS, MOST_SIZE = 4, 5, 4
LOG_SIZES: Array = STEP * SIZE_IN_FACTORS * np.arange(-MOST_SIZE, MOST_SIZE + 1.0)

SPREAD_SCORES = 0.75 * np.arange(-4.0, 4.0)
SKEW_SCORES = np.array([-1.7, -0.85, 0.0, 0.85, 1.7])
# The boxes late by a flight that the table's share of those late by one more is worth.
AGAIN_WORTH_BOXES = CONSTANTS.transit_again_worth_boxes
AGAIN_QUANTILES = (np.arange(3) + 0.5) / 3

# Gauss-Legendre over these scores of the body, where it meets a hold.
_BODY_NODE, _BODY_WEIGHT = np.polynomial.legendre.leggauss(32)
_MOST_BODY_SCORE = 6.0
# Where a survival function is tabulated to be read at many days: from here, so far up, in such steps of the score.
_LEAST_SCORE, _MOST_SCORE, _SCORE_STEP = -8.0, 37.0, 0.01
# More missed flights than have this chance count as that many.
_LEAST_CHANCE = 1e-9
# Tables of services that are kept, 13 MB each, 29 MB of one that misses flights.
KEPT_TABLES = 4


@dataclass(frozen=True, slots=True, eq=False)
class TransitTables:
    """P(T > days) without and with a delay, and the log prior of what they are tabulated over.

    Attributes
    ----------
    prompt : (bodies, factors, days)
    late : (bodies, agains, factors, days)
        Of delays of the table's size, over more factors and days than the other; see `late_of`.
    log_body : (bodies,)
        Log prior of spread and skew.
    agains : (agains,)
        Equally likely shares of those late by a flight that miss the next one too; one, not used, but for flights.
    log_size : (sizes,)
        Log prior of `LOG_SIZES`; of one size where there are no delays.
    """

    prompt: Array
    late: Array
    log_body: Array
    agains: Array
    log_size: Array

    @property
    def log_sizes(self) -> Array:
        """The logs of the sizes of delays, (sizes,)."""
        return LOG_SIZES if len(self.log_size) > 1 else np.zeros(1)

    def late_of(self, size: int) -> Array:
        """Return P(T > days) of boxes with a delay of a size by its position, (bodies, agains, factors, days)."""
        if len(self.log_size) == 1:
            return self.prompt[:, None]
        back = 2 * MOST_SIZE - size
        factors, days = SIZE_IN_FACTORS * back, SIZE_IN_DAYS * back
        return self.late[:, :, factors : factors + len(TABULATED_FACTORS), days : days + len(TABULATED_DAYS)]


@lru_cache(maxsize=KEPT_TABLES)
def transit_tables(
    base: TransitTime, spread: float, spread_sd_log: float, skew_sd_log: float, size_sd_log: float
) -> TransitTables:
    """Return the tables of a service; no box changes them, so they are worked out once.

    Parameters
    ----------
    base : TransitTime
    spread : float
        Prior median of the spread.
    spread_sd_log, skew_sd_log, size_sd_log : float
        Prior sds of the logs of the spread and of the size of delays, and of the skew.
    """
    shapes = [(i, j) for i in range(len(SPREAD_SCORES)) for j in range(len(SKEW_SCORES))]
    bodies = [
        shaped(base.body, spread * float(np.exp(spread_sd_log * SPREAD_SCORES[i])), skew_sd_log * float(SKEW_SCORES[j]))
        for i, j in shapes
    ]
    days_by_factor = TABULATED_DAYS / np.exp(TABULATED_FACTORS)[:, None]
    prompt = np.stack([np.exp(body.log_sf(days_by_factor)) for body in bodies])
    agains = np.zeros(1)
    if isinstance(base.delay, MissedFlights) and base.delay.again_share > 0:
        share = base.delay.again_share
        agains = special.betaincinv(AGAIN_WORTH_BOXES * share, AGAIN_WORTH_BOXES * (1.0 - share), AGAIN_QUANTILES)
    if base.delay.share > 0:
        factors, days = np.exp(_log_factors(SIZE_IN_FACTORS * MOST_SIZE)), _days(SIZE_IN_DAYS * MOST_SIZE)
        late = np.stack([_late(body, base.delay, agains, factors, days) for body in bodies])
        log_size = log_normal_weights(LOG_SIZES / size_sd_log)
    else:
        late, log_size = prompt[:, None], np.zeros(1)
    prompt.flags.writeable = late.flags.writeable = False
    log_body = (log_normal_weights(SPREAD_SCORES)[:, None] + log_normal_weights(SKEW_SCORES)).ravel()
    return TransitTables(prompt, late, log_body, agains, log_size)


def shaped(body: TransitBody, spread: float, skew: float) -> TransitBody:
    """Return a body whose log distances from its median are multiplied: p10's by spread / e^skew, p90's by the inverse.

    Its minimum goes along with p10 where that comes to lie lower; else it stays.
    """
    p10, p50, p90 = (float(days) for days in body.quantile(CHANCES))
    below, above = spread * np.exp(-skew), spread * np.exp(skew)
    minimum = p50 * (body.minimum_days / p50) ** max(below, 1.0)
    low, high = p50 * (p10 / p50) ** below, p50 * (p90 / p50) ** above
    return TransitBody.from_quantiles(low, p50, high, minimum, on_log=body.on_log)


def log_normal_weights(scores: Array) -> Array:
    """Return the log of normal densities at even scores, adding up to 1."""
    log_weight = -0.5 * scores**2
    return np.asarray(log_weight - special.logsumexp(log_weight))


def _late(body: TransitBody, delay: Delay, agains: Array, factors: Array, days: Array) -> Array:
    """Return P(factor x body + delay > days), (agains, factors, days)."""
    if isinstance(delay, HoldDelay):
        return _late_by_holds(body, delay, factors, days)[None]
    assert isinstance(delay, MissedFlights)  # noqa: S101 - a service with another share of delays than 0
    return _late_by_flights(body, delay.interval_days, agains, factors, days)


def _late_by_holds(body: TransitBody, delay: HoldDelay, factors: Array, days: Array) -> Array:
    """Integrate over the body, which is narrower than the hold but at factors far from any seen."""
    least = max(body.floor_score, -_MOST_BODY_SCORE)
    score = least + 0.5 * (_MOST_BODY_SCORE - least) * (1.0 + _BODY_NODE)
    weight = np.exp(-0.5 * score**2) * _BODY_WEIGHT
    weight /= weight.sum()
    at = delay.days(np.arange(_LEAST_SCORE, -_LEAST_SCORE, _SCORE_STEP))
    at, sf = np.append(0.0, at), np.append(1.0, delay.sf(at))
    late = np.zeros((len(factors), len(days)))
    for node, part in zip(body.days_at(score), weight, strict=True):
        late += part * np.interp(days - factors[:, None] * node, at, sf)
    return late


def _late_by_flights(body: TransitBody, interval: float, agains: Array, factors: Array, days: Array) -> Array:
    """Add over the flights missed."""
    most = float(agains.max())
    n = 1 if most == 0 else int(np.ceil(np.log(_LEAST_CHANCE) / np.log(most)))
    missed = np.arange(n)
    chance = agains[:, None] ** missed * np.where(missed < n - 1, 1.0 - agains[:, None], 1.0)
    at = body.days_at(np.arange(max(body.floor_score, _LEAST_SCORE), _MOST_SCORE, _SCORE_STEP))
    sf = np.exp(body.log_sf(at))
    late = np.zeros((len(agains), len(factors), len(days)))
    for k, parts in zip(missed + 1.0, chance.T, strict=True):
        after = np.interp((days - k * interval) / factors[:, None], at, sf, left=1.0, right=0.0)
        late += parts[:, None, None] * after
    return late
