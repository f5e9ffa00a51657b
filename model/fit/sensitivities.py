"""What a fit's answers rest on: the rules of thumb and tables, or the boxes; by power scaling, without another fit.

Of the prior that part is scaled which speaks of the quantity: for chances, kappa and the share lost whole the rules of
thumb and all scales; for a genus the row of the tables, with its group; for a seller what sellers are like. A part is
scaled given what stands above it and normalised again, so a normal of sd s becomes one of sd s / sqrt(power) and an
effect says nothing of the scale that all of its kind share: the densities of many effects to a power would (Kallioinen
et al. 2024 therefore leave lower parts of a hierarchy alone).
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from model.fit.fitting import Fitted
from model.fit.hierarchy import ALPHA, DELTA, KAPPA, LOG_ODDS_LOST, Hierarchy, InnerPrior
from model.fit.inference import Posterior
from model.fit.power_scaling import (
    FELT_SHIFT,
    SENSITIVE,
    LogRatio,
    PowerScaled,
    mean_shift,
    power_scaled,
    sensitivity,
)
from model.plant import DEGREES, STUDENT_SCALE, total_spread
from model.prior import CommonParameters, rule_shares
from model.reference import CONSTANTS, Reference

Array = NDArray[np.float64]

# Chances are told of an average plant in the usual packing from nobody in particular, after so many days at 20 °C.
TOLD_DAYS = (3.0, 7.0, 10.0)
TOLD_C = 20.0
# A time ratio further from 1 is no further.
MOST_LOG_RATIO = float(np.log(100.0))

Kind = Literal["healthy", "kappa", "lost_whole", "genus", "seller"]


class Told(NamedTuple):
    """A quantity that a buyer is told, (draws,), and the effects whose prior speaks of it; none: the common ones."""

    kind: Kind
    level: str
    values: Array
    effects: Sequence[int]


class Rests(NamedTuple):
    """How far a quantity moves with the prior and with the boxes.

    Attributes
    ----------
    kind : str
        "healthy" (level: days), "kappa", "lost_whole" (level empty), "genus" or "seller".
    level : str
    prior, likelihood : float
        The sensitivities (`power_scaling.sensitivity`).
    prior_shift, likelihood_shift : float
        Of the mean for twice the weight, in sds.
    """

    kind: Kind
    level: str
    prior: float
    likelihood: float
    prior_shift: float
    likelihood_shift: float

    @property
    def on(self) -> Literal["boxes", "rules", "both", "conflict", "neither"]:
        """What it rests on.

        By the diagnosis of the paper the likelihood is weak, or the prior strong, where only the prior moves it, and
        the two may be in conflict where both do: here, where they move its mean to different sides, apart by what is
        felt.
        """
        by_prior, by_boxes = self.prior >= SENSITIVE, self.likelihood >= SENSITIVE
        if by_prior and by_boxes:
            opposite = self.prior_shift * self.likelihood_shift < 0
            apart = abs(self.prior_shift - self.likelihood_shift)
            return "conflict" if opposite and apart >= FELT_SHIFT else "both"
        return "rules" if by_prior else "boxes" if by_boxes else "neither"


class PriorSensitivity(NamedTuple):
    """What quantities rest on where weights tell it, and the Pareto k of those of the common prior and the boxes."""

    rests: tuple[Rests, ...]
    prior_pareto_k: float
    likelihood_pareto_k: float


def prior_sensitivity(fitted: Fitted, reference: Reference) -> PriorSensitivity:
    """Return what the answers of a fit rest on; without those whose weights are too uneven to tell."""
    posterior, hierarchy = fitted.posterior, fitted.hierarchy
    base, prior = posterior.log_weights, hierarchy.inner(posterior.theta)
    common = power_scaled(base, common_ratio(posterior, hierarchy, prior))
    boxes = power_scaled(base, lambda power: (power - 1.0) * posterior.log_likelihood)
    rests = []
    for told in () if boxes.rough else told_quantities(posterior, hierarchy, reference):
        own = power_scaled(base, effect_ratio(prior, posterior.x, told.effects)) if len(told.effects) else common
        if not own.rough:
            rests.append(_rests(told, base, own, boxes))
    return PriorSensitivity(tuple(rests), common.pareto_k, boxes.pareto_k)


def _rests(told: Told, base: Array, prior: PowerScaled, boxes: PowerScaled) -> Rests:
    values = told.values
    return Rests(
        told.kind,
        told.level,
        sensitivity(values, base, prior),
        sensitivity(values, base, boxes),
        mean_shift(values, base, prior),
        mean_shift(values, base, boxes),
    )


def told_quantities(posterior: Posterior, hierarchy: Hierarchy, reference: Reference) -> Iterator[Told]:
    """Yield what a buyer is told: chances, the share lost whole, how long genera and sellers with boxes keep."""
    x, theta = posterior.x, posterior.theta
    lost = special.expit(theta[:, LOG_ODDS_LOST])
    for days, share in zip(TOLD_DAYS, _healthy(posterior, hierarchy, reference).T, strict=True):
        yield Told("healthy", f"{days:g}", (1.0 - lost) * share + lost * CONSTANTS.lost_healthy, ())
    yield Told("kappa", "", x[:, KAPPA], ())
    yield Told("lost_whole", "", lost, ())

    def log_ratio(effects: list[int]) -> Array:
        ratio: Array = np.clip(-x[:, effects].sum(axis=1) / x[:, KAPPA], -MOST_LOG_RATIO, MOST_LOG_RATIO)
        return ratio

    starts = {kind: own.start for kind, own in hierarchy.slices.items()}
    groups = {str(name): starts["group"] + i for i, name in enumerate(hierarchy.levels["group"])}
    for i, genus in enumerate(hierarchy.levels["genus"]):
        group = reference.genera[str(genus)].group
        effects = [starts["genus"] + i, *([groups[group]] if group in groups else [])]
        yield Told("genus", str(genus), log_ratio(effects), effects)
    states: dict[str, list[tuple[int, int]]] = {}
    for i, state in enumerate(hierarchy.levels["drift"]):
        states.setdefault(str(state[0]), []).append((int(state[1]), starts["drift"] + i))
    for i, level in enumerate(hierarchy.levels["seller"]):
        drift = [place for _, place in sorted(states.get(str(level), []))]
        # As it is in its latest quarter; all of its quarters are scaled.
        yield Told("seller", str(level), log_ratio([starts["seller"] + i, *drift[-1:]]), [starts["seller"] + i, *drift])


def _healthy(posterior: Posterior, hierarchy: Hierarchy, reference: Reference) -> Array:
    """Return the chance to be healthy where a box is not lost whole, (draws, days)."""
    x, theta = posterior.x, posterior.theta
    rules = [replace(reference.rules[0], days=days, inside_c=TOLD_C, outcome="healthy") for days in TOLD_DAYS]
    parameters = CommonParameters(x[:, ALPHA], x[:, KAPPA], x[:, DELTA], hierarchy.log_q10(theta), hierarchy.h0(theta))
    return rule_shares(rules, parameters, spread=total_spread(hierarchy.scales(theta), reference))


def common_ratio(posterior: Posterior, hierarchy: Hierarchy, prior: InnerPrior) -> LogRatio:
    """Return what scales the prior of alpha, kappa, delta and theta; `prior` is that of each draw's theta.

    Given theta the first three are normalised again; that kappa is above 0 is left out.
    """
    gap = posterior.x[:, :DELTA] - prior.mean
    outer = hierarchy.outer_log_density(posterior.theta) - 0.5 * np.einsum("ni,nij,nj->n", gap, prior.common, gap)
    return lambda power: (power - 1.0) * outer + _gamma_ratio(posterior.x[:, DELTA], prior, power)


def _gamma_ratio(delta: Array, prior: InnerPrior, power: float) -> Array:
    """Return the log of delta's gamma raised to a power, which is another, over itself; (draws,)."""

    def log_density(shape: Array, rate: Array) -> Array:
        density: Array = shape * np.log(rate) - special.gammaln(shape) + (shape - 1.0) * np.log(delta) - rate * delta
        return density

    before, rate = prior.delta_shape, prior.delta_rate
    return log_density(power * (before - 1.0) + 1.0, power * rate) - log_density(before, rate)


def effect_ratio(prior: InnerPrior, x: Array, effects: Sequence[int]) -> LogRatio:
    """Return what scales the prior of some effects, normalised again.

    Parameters
    ----------
    prior : InnerPrior
        That of each draw's theta.
    x : (draws, p)
    effects : sequence of int
        Their places in x: with one drift state of a seller, all of them.
    """
    places = np.asarray(effects)
    z, student = x[:, places] / prior.sds[:, places], prior.student[places]
    heavy = np.log1p((z[:, student] / STUDENT_SCALE) ** 2 / DEGREES).sum(axis=1)
    plain = places[~student]
    drift = (plain >= prior.drift.start) & (plain < prior.drift.stop)
    precision = np.eye(len(plain))
    states = plain[drift] - prior.drift.start
    precision[np.ix_(drift, drift)] = prior.drift_precision[np.ix_(states, states)]
    square = np.einsum("ni,ij,nj->n", z[:, ~student], precision, z[:, ~student])
    log_shape = -0.5 * ((DEGREES + 1.0) * heavy + square)
    return lambda power: (power - 1.0) * log_shape
