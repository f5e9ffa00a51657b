"""Loss between unboxing and the recheck about two weeks on, among plants alive at unboxing.

Complementary log-log in log(1 + chill dose), plus an effect of the box: chilling injury can stay invisible for about
two weeks (Poole & Conover 1993, UF RH-93-6). Prior from rules of thumb,
learned only from boxes that were counted again.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from model.prior import CENTRAL_80, stratified_normals
from model.quadrature import marginal_survival, normal_nodes
from model.reference import CONSTANTS, LateLossRule

Array = NDArray[np.float64]
SingleArray = NDArray[np.float32]
Indices = NDArray[np.intp]

# Spread between boxes; 3 nodes average over it to 1e-4.
BOX_SD = CONSTANTS.late_loss_box_sd
BOX_NODES = 3
RECHECK_NODES = 9
# About 1e-35: numbers below 1e-38 take processors thirty times as long.
LEAST_LOG_CHANCE = np.float32(-80.0)
GRID_SDS, GRID_POINTS = 4.0, 61
# So many hazards of grid points, nodes and lines at a time stay in the processor's cache.
HAZARDS_AT_ONCE = 30_000


@dataclass(frozen=True, slots=True, eq=False)
class LateLossDraws:
    """Draws of intercept and slope of the log hazard of late loss, (draws,) each; the slope is positive."""

    intercept: Array
    slope: Array

    def log_hazard(self, chill_dose_days: Array) -> Array:
        """Return the log hazard without the box effect; the draw axis is last."""
        value: Array = self.intercept + self.slope * np.log(1.0 + chill_dose_days)
        return value

    def chance(self, chill_dose_days: Array) -> Array:
        """Return the chance of late loss averaged over boxes; the draw axis is last."""
        chance: Array = 1.0 - marginal_survival(self.log_hazard(chill_dose_days), BOX_SD, n_nodes=BOX_NODES)
        return chance

    def chance_in_box(self, chill_dose_days: Array, box_normal: Array) -> Array:
        """Return the chance of late loss in boxes whose effect is `BOX_SD` x `box_normal`."""
        chance: Array = -np.expm1(-np.exp(self.log_hazard(chill_dose_days) + BOX_SD * box_normal))
        return chance


class KeptChances:
    """1 - `LateLossDraws.chance` of many lines, in single precision: to 1e-6, in a fifth of the time."""

    def __init__(self, draws: LateLossDraws) -> None:
        nodes, weights = normal_nodes(BOX_NODES)
        self._intercept, self._slope = draws.intercept.astype(np.float32), draws.slope.astype(np.float32)
        self._factors, self._weights = np.exp(BOX_SD * nodes).astype(np.float32), weights.astype(np.float32)
        self.unchilled = self(np.zeros((1, len(self._slope)), dtype=np.float32))[0]

    def __call__(self, chill_dose_days: SingleArray) -> SingleArray:
        """Return the chance of no late loss, shape of the doses, (lines, draws)."""
        hazard = chill_dose_days + np.float32(1.0)
        np.log(hazard, out=hazard)
        hazard *= self._slope
        hazard += self._intercept
        with np.errstate(over="ignore"):  # beyond single precision nothing is kept
            np.exp(hazard, out=hazard)
        kept, work = np.zeros_like(hazard), np.empty_like(hazard)
        for factor, weight in zip(self._factors, self._weights, strict=True):
            np.multiply(hazard, -factor, out=work)
            np.maximum(work, LEAST_LOG_CHANCE, out=work)
            np.exp(work, out=work)
            work *= weight
            kept += work
        return kept


def _log_hazard_of(share: Array) -> Array:
    """Return the log hazards whose shares, averaged over boxes, are `share`; by bisection to 1e-12."""
    low, high = np.full_like(share, -20.0), np.full_like(share, 5.0)
    for _ in range(60):
        middle = 0.5 * (low + high)
        below = 1.0 - marginal_survival(middle, BOX_SD, n_nodes=BOX_NODES) < share
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return 0.5 * (low + high)


class LateLossPrior(NamedTuple):
    """Normal intercept and log-normal slope of the log hazard, correlated; mean and sd of the slope on its log."""

    intercept: float
    intercept_sd: float
    log_slope: float
    log_slope_sd: float
    correlation: float

    def at(self, scores: Array) -> tuple[Array, Array]:
        """Return intercept and slope for independent standard normal scores, (2, ...)."""
        rest = float(np.sqrt(1.0 - self.correlation**2))
        tilted = self.correlation * scores[0] + rest * scores[1]
        return self.intercept + self.intercept_sd * scores[0], np.exp(self.log_slope + self.log_slope_sd * tilted)


def late_loss_prior(rules: Sequence[LateLossRule]) -> LateLossPrior:
    """Return the prior that the rules imply: one without chilling, one at a chill dose.

    What is not known of the two rules is independent, so a higher intercept goes with a lower slope; the slope is
    log-normal with that mean and sd (to first order), so that more chilling is never better.
    """
    unchilled, chilled = sorted(rules, key=lambda rule: rule.chill_dose_days)
    shares = np.array([[rule.low, rule.best, rule.high] for rule in (unchilled, chilled)])
    (low, best, high), (chilled_low, chilled_best, chilled_high) = _log_hazard_of(shares)
    dose = float(np.log1p(chilled.chill_dose_days))
    sd, chilled_sd = (high - low) / CENTRAL_80, (chilled_high - chilled_low) / CENTRAL_80
    slope, slope_sd = (chilled_best - best) / dose, float(np.hypot(sd, chilled_sd)) / dose
    return LateLossPrior(
        intercept=float(best),
        intercept_sd=float(sd),
        log_slope=float(np.log(slope)),
        log_slope_sd=float(slope_sd / slope),
        correlation=-float(sd / np.hypot(sd, chilled_sd)),
    )


def draw_late_loss(rules: Sequence[LateLossRule], n: int, *, rng: np.random.Generator) -> LateLossDraws:
    """Draw intercept and slope from the prior that the rules imply."""
    return LateLossDraws(*late_loss_prior(rules).at(stratified_normals(n, 2, rng=rng)))


class Rechecks(NamedTuple):
    """Lines counted again, (lines,) each: box, chill dose, plants looked at, and how many of them were lost since."""

    box: Indices
    chill_dose_days: Array
    looked_at: Array
    lost: Array


def learn_late_loss(
    rules: Sequence[LateLossRule], rechecks: Rechecks, n: int, *, rng: np.random.Generator
) -> LateLossDraws:
    """Draw intercept and slope given rechecked boxes; without any, from the prior.

    The posterior is taken on a grid of 4 prior sds about the prior, each box's effect integrated by 9 Gauss-Hermite
    nodes; draws are spread within their cell.
    """
    prior = late_loss_prior(rules)
    scores = np.linspace(-GRID_SDS, GRID_SDS, GRID_POINTS)
    grid = np.stack(np.meshgrid(scores, scores, indexing="ij")).reshape(2, -1)
    log_p = -0.5 * (grid**2).sum(axis=0)
    if len(rechecks.box):
        nodes, weights = normal_nodes(RECHECK_NODES)
        order = np.argsort(rechecks.box, kind="stable")
        starts = np.flatnonzero(np.diff(rechecks.box[order], prepend=-1))
        log_dose = np.log(1.0 + rechecks.chill_dose_days[order])
        lost, kept = rechecks.lost[order], (rechecks.looked_at - rechecks.lost)[order]
        at_once = max(HAZARDS_AT_ONCE // (len(nodes) * len(lost)), 1)
        for first in range(0, len(log_p), at_once):
            some = slice(first, first + at_once)
            intercept, slope = (own[:, None, None] for own in prior.at(grid[:, some]))
            hazard = np.exp(intercept + slope * log_dose + BOX_SD * nodes[:, None])  # (points, nodes, lines)
            by_line = lost * np.log(-np.expm1(-hazard)) - kept * hazard
            by_box = np.add.reduceat(by_line, starts, axis=2)
            log_p[some] += special.logsumexp(by_box + np.log(weights)[:, None], axis=1).sum(axis=1)
    chance = special.softmax(log_p)
    cell = rng.choice(len(chance), n, p=chance / chance.sum())
    return LateLossDraws(*prior.at(grid[:, cell] + (scores[1] - scores[0]) * (rng.random((2, n)) - 0.5)))
