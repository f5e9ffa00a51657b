"""Rules of thumb -> prior distribution.

A rule is a marginal statement: a share averaged over unnamed sellers, genera of the reference group, boxes and lines.
So for a given spread s of those effects, (alpha, kappa, delta) are solved for the averaged shares to meet the rules
on the log cumulative hazard scale (conditional means priors: Bedrick, Christensen & Johnson 1996), each rule weighted
by parameters / rules since the rules overlap. Mean and covariance are tabulated in s: the prior is normal given s in
(alpha, kappa) and gamma in delta.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from model.exposure import log_warm_rate
from model.plant import (
    LEARNED_SCALES,
    REFERENCE_KAPPA,
    log_clock_hazards,
    log_cumulative_hazard,
    spoilt_hazards,
    time_predictor,
    total_spread,
)
from model.quadrature import SCORE_P90, marginal_survival
from model.reference import CONSTANTS, Reference, Rule

Array = NDArray[np.float64]

SPREAD_GRID = np.linspace(0.6, 3.2, 14)
SMALLEST_DELTA_SHAPE = CONSTANTS.smallest_delta_shape
# Draws come in blocks that are stratified each by itself.
BLOCK = 512
MOST_STEPS, DIFFERENCE, SOLVED = 100, 1e-5, 1e-8
REMEDIES = (
    "give shares healthy at two times or more that fall with days, at least one share dead, and for each rule "
    "0 < low < best < high < 1"
)
# Beyond this condition number of the scaled information the rules leave a parameter to rounding error.
MOST_CONDITION = 1e8
CENTRAL_80 = 2.0 * SCORE_P90
# Solved rules that are kept.
KEPT_TABLES = 8


class PriorError(ValueError):
    """The rules of thumb cannot be turned into a prior; the message says what to check."""


class CommonParameters(NamedTuple):
    """Parameters that a rule's share depends on, (n,) each or scalars."""

    alpha: Array
    kappa: Array
    delta: Array
    log_q10: Array | float
    h0: Array | float


@dataclass(frozen=True, slots=True, eq=False)
class PriorTable:
    """Mean and covariance of (alpha, kappa), mean and shape of delta, for each total spread s of `SPREAD_GRID`."""

    mean: Array
    covariance: Array
    delta_mean: Array
    delta_shape: Array

    def at(self, spread: Array) -> tuple[Array, Array, Array, Array]:
        """Interpolate in s: mean (n, 2), covariance (n, 2, 2), delta's mean (n,) and shape (n,)."""
        grid, s = SPREAD_GRID, np.asarray(spread, dtype=float)
        mean = np.stack([np.interp(s, grid, self.mean[:, i]) for i in range(2)], axis=-1)
        covariance = np.empty((*s.shape, 2, 2))
        for i in range(2):
            for j in range(2):
                covariance[..., i, j] = np.interp(s, grid, self.covariance[:, i, j])
        return mean, covariance, np.interp(s, grid, self.delta_mean), np.interp(s, grid, self.delta_shape)


def rule_shares(
    rules: Sequence[Rule], parameters: CommonParameters, *, spread: Array, n_nodes: int | None = None
) -> Array:
    """Return the share that the model gives for each rule, averaged over all unnamed effects.

    Parameters
    ----------
    rules : sequence of Rule
    parameters : CommonParameters
        Arrays of shape (n,) or scalars.
    spread : (n,)
        Standard deviation of the unnamed effects, from `total_spread`.
    n_nodes : int, optional
        As in `marginal_survival`.

    Returns
    -------
    (n, rules)
    """
    days = np.array([rule.days for rule in rules])
    inside = np.array([rule.inside_c for rule in rules])
    dead = np.array([rule.outcome == "dead" for rule in rules])
    alpha, kappa, delta, log_q10, h0 = (np.asarray(x)[..., None] for x in parameters)
    eta = alpha + time_predictor(kappa, np.log(days) + log_warm_rate(inside, log_q10))
    by_clock, spoilt = (
        np.where(dead, death, loss) for loss, death in (log_clock_hazards(eta, delta), spoilt_hazards(h0))
    )
    without: Array = np.exp(-spoilt) * marginal_survival(by_clock, spread[:, None], n_nodes=n_nodes)
    return np.where(dead, 1.0 - without, without)


def solve_prior(rules: Sequence[Rule], *, log_q10: float, h0: float, n_nodes: int | None = None) -> PriorTable:
    """Solve the rules for every spread of `SPREAD_GRID` by Gauss-Newton at the median of log Q10 and h0.

    `n_nodes` as in `marginal_survival`. The same rules are solved once.

    Raises
    ------
    PriorError
        When the rules do not determine (alpha, kappa, delta), or only with kappa or delta at or below 0.
    """
    if not rules:
        raise PriorError(f"there are no rules of thumb: {REMEDIES}")
    return _solved(tuple(rules), log_q10, h0, n_nodes)


@lru_cache(maxsize=KEPT_TABLES)
def _solved(rules: tuple[Rule, ...], log_q10: float, h0: float, n_nodes: int | None) -> PriorTable:
    # Shares that overflow on a step gone astray are caught below as steps that are not finite.
    with np.errstate(over="ignore", divide="ignore", invalid="ignore"):
        mean, information = _gauss_newton(rules, log_q10=log_q10, h0=h0, n_nodes=n_nodes)
    if (mean[:, 1:] <= 0).any():
        raise PriorError(f"the rules of thumb say that plants do better with days, or die no later: {REMEDIES}")
    covariance = np.asarray(np.linalg.inv(information), dtype=np.float64)
    shape = np.maximum(mean[:, 2] ** 2 / covariance[:, 2, 2], SMALLEST_DELTA_SHAPE)
    for array in (mean, covariance, shape):
        array.flags.writeable = False
    return PriorTable(mean=mean[:, :2], covariance=covariance[:, :2, :2], delta_mean=mean[:, 2], delta_shape=shape)


def _gauss_newton(rules: Sequence[Rule], *, log_q10: float, h0: float, n_nodes: int | None) -> tuple[Array, Array]:
    """Return (alpha, kappa, delta), (spreads, 3), and their information, (spreads, 3, 3)."""
    dead = np.array([rule.outcome == "dead" for rule in rules])
    ranges = np.array([[rule.low, rule.best, rule.high] for rule in rules])
    target = log_cumulative_hazard(ranges[:, 1], dead)
    sd = np.abs(np.diff(log_cumulative_hazard(ranges[:, [0, 2]], dead[:, None]), axis=1))[:, 0] / CENTRAL_80
    weight = 3.0 / len(rules) / sd**2

    def answer(parameters: Array) -> Array:
        alpha, kappa, delta = parameters.T
        common = CommonParameters(alpha, kappa, delta, log_q10, h0)
        return log_cumulative_hazard(rule_shares(rules, common, spread=SPREAD_GRID, n_nodes=n_nodes), dead)

    parameters = np.tile([-3.0, REFERENCE_KAPPA, 1.5], (len(SPREAD_GRID), 1))
    for _ in range(MOST_STEPS):
        now = answer(parameters)
        steps = DIFFERENCE * np.eye(3)
        jacobian = np.stack([(answer(parameters + step) - now) / DIFFERENCE for step in steps], axis=-1)
        weighted = weight[:, None] * jacobian
        information = np.swapaxes(jacobian, 1, 2) @ weighted
        if not _determined(information):
            break
        step = np.linalg.solve(information, np.swapaxes(weighted, 1, 2) @ (target - now)[..., None])[..., 0]
        largest = np.abs(step).max(axis=1, keepdims=True)
        parameters = parameters + step / np.maximum(largest, 1.0)
        if largest.max() < SOLVED:
            return parameters, information
    raise PriorError(f"the rules of thumb do not determine the prior: {REMEDIES}")


def _determined(information: Array) -> bool:
    """Whether each information matrix, (spreads, 3, 3), is finite and far enough from singular to be solved."""
    diagonal = np.diagonal(information, axis1=1, axis2=2)
    if not np.isfinite(information).all() or (diagonal <= 0).any():
        return False
    scale = np.sqrt(diagonal)
    return bool(np.linalg.cond(information / (scale[:, :, None] * scale[:, None, :])).max() < MOST_CONDITION)


def stratified_normals(n: int, dimensions: int, *, rng: np.random.Generator) -> Array:
    """Return (dimensions, n) standard normal draws, each dimension a Latin hypercube sample in blocks of `BLOCK`.

    So the first `BLOCK` draws are a sample of their own, as even as the whole.
    """
    block = BLOCK if n % BLOCK == 0 else n
    ranks = rng.permuted(np.broadcast_to(np.arange(block), (dimensions, n // block, block)), axis=2)
    normals: Array = special.ndtri((ranks + rng.random(ranks.shape)) / block).reshape(dimensions, n)
    return normals


@dataclass(frozen=True, slots=True, eq=False)
class ParameterDraws:
    """Draws of the parameters that every plant shares, (draws,) each; `n_replaced` counts draws with kappa <= 0."""

    alpha: Array
    kappa: Array
    delta: Array
    log_q10: Array
    chill_rate: Array
    h0: Array
    lost: Array
    scales: Mapping[str, Array]
    n_replaced: int = 0

    def take(self, index: NDArray[np.intp]) -> "ParameterDraws":
        """Return the draws at `index`."""
        names = ("alpha", "kappa", "delta", "log_q10", "chill_rate", "h0", "lost")
        return ParameterDraws(
            **{name: getattr(self, name)[index] for name in names},
            scales={name: draws[index] for name, draws in self.scales.items()},
            n_replaced=self.n_replaced,
        )

    def followed_by(self, more: "ParameterDraws") -> "ParameterDraws":
        """Return these draws and more."""
        names = ("alpha", "kappa", "delta", "log_q10", "chill_rate", "h0", "lost")
        return ParameterDraws(
            **{name: np.concatenate([getattr(self, name), getattr(more, name)]) for name in names},
            scales={name: np.concatenate([draws, more.scales[name]]) for name, draws in self.scales.items()},
            n_replaced=self.n_replaced + more.n_replaced,
        )


def draw_prior(reference: Reference, n: int, *, rng: np.random.Generator) -> ParameterDraws:
    """Draw the parameters from the prior that the rules of thumb imply.

    Parameters
    ----------
    reference : Reference
    n : int
        Number of draws.
    rng : numpy.random.Generator
    """
    rows = reference.prior_scales
    table = solve_prior(reference.rules, log_q10=float(np.log1p(rows["q10_less_one"].median)), h0=rows["h0"].median)
    normals = iter(stratified_normals(n, len(LEARNED_SCALES) + 6, rng=rng))

    def log_normal(name: str) -> Array:
        sd_log = rows[name].sd_log
        assert sd_log is not None  # noqa: S101 - learned rows carry one; the reference tests check it
        draws: Array = rows[name].median * np.exp(sd_log * next(normals))
        return draws

    scales = {name: log_normal(name) for name in LEARNED_SCALES}
    q10_less_one, chill_rate, h0 = log_normal("q10_less_one"), log_normal("chill_rate"), log_normal("h0")
    mean, covariance, delta_mean, delta_shape = table.at(total_spread(scales, reference))
    kappa_sd = np.sqrt(covariance[:, 1, 1])
    # Kappa first: draws at or below zero are replaced by draws of the same normal above zero.
    kappa = mean[:, 1] + kappa_sd * next(normals)
    bad = kappa <= 0
    if bad.any():
        floor = special.ndtr(-mean[bad, 1] / kappa_sd[bad])
        kappa[bad] = mean[bad, 1] + kappa_sd[bad] * special.ndtri(floor + (1.0 - floor) * rng.random(int(bad.sum())))
    slope = covariance[:, 0, 1] / covariance[:, 1, 1]
    rest = np.sqrt(covariance[:, 0, 0] - slope * covariance[:, 0, 1])
    alpha = mean[:, 0] + slope * (kappa - mean[:, 1]) + rest * next(normals)
    delta = special.gammaincinv(delta_shape, special.ndtr(next(normals))) * delta_mean / delta_shape
    chance = rows["lost_whole"]
    assert chance.sd_log is not None  # noqa: S101 - as above
    lost = special.expit(
        special.logit(chance.median) + chance.sd_log * stratified_normals(n, 1, rng=rng.spawn(1)[0])[0]
    )
    return ParameterDraws(
        alpha=alpha,
        kappa=kappa,
        delta=delta,
        log_q10=np.log1p(q10_less_one),
        chill_rate=chill_rate,
        h0=h0,
        lost=lost,
        scales=scales,
        n_replaced=int(bad.sum()),
    )
