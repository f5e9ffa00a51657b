"""Loss between unboxing and the recheck about two weeks on, among plants alive at unboxing.

Complementary log-log in log(1 + chill dose), plus an effect of the box: chilling injury can stay invisible for about
two weeks (Poole & Conover 1993, UF RH-93-6). Prior from rules of thumb.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.priors import CENTRAL_80, stratified_normals
from model.quadrature import marginal_survival
from model.reference import LateLossRule

Array = NDArray[np.float64]

# Spread between boxes, from memory; 3 nodes average over it to 1e-4.
BOX_SD = 0.5
BOX_NODES = 3


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


def _log_hazard_of(share: Array) -> Array:
    """Return the log hazards whose shares, averaged over boxes, are `share`; by bisection to 1e-12."""
    low, high = np.full_like(share, -20.0), np.full_like(share, 5.0)
    for _ in range(60):
        middle = 0.5 * (low + high)
        below = 1.0 - marginal_survival(middle, BOX_SD, n_nodes=BOX_NODES) < share
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return 0.5 * (low + high)


def draw_late_loss(rules: Sequence[LateLossRule], n: int, *, rng: np.random.Generator) -> LateLossDraws:
    """Draw intercept and slope from the rules: one without chilling, one at a chill dose.

    The intercept is normal with the first rule's range; the slope log-normal, so that more chilling is never better.
    """
    unchilled, chilled = sorted(rules, key=lambda rule: rule.chill_dose_days)
    shares = np.array([[rule.low, rule.best, rule.high] for rule in (unchilled, chilled)])
    (low, best, high), (chilled_low, chilled_best, chilled_high) = _log_hazard_of(shares)
    dose = np.log1p(chilled.chill_dose_days)
    slope = (chilled_best - best) / dose
    intercept_sd = (high - low) / CENTRAL_80
    # The range at the dose is wider than the intercept's: the slope carries the rest.
    rest = np.sqrt(max(((chilled_high - chilled_low) / CENTRAL_80) ** 2 - intercept_sd**2, 0.01))
    normals = stratified_normals(n, 2, rng=rng)
    return LateLossDraws(
        intercept=best + intercept_sd * normals[0],
        slope=slope * np.exp(rest / dose / slope * normals[1]),
    )
