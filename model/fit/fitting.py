"""Boxes that were observed -> draws of the posterior: the fit without the estimator about it."""

from dataclasses import dataclass

import numpy as np
from scipy import special
from threadpoolctl import threadpool_limits

from model.fit.hierarchy import LOG_ODDS_LOST, OUTER, Hierarchy
from model.fit.inference import Inference, Posterior
from model.fit.inner_mode import ConvergenceError, InnerMode
from model.fit.observations import Observations
from model.fit.pareto_smoothing import MOST_PARETO_K
from model.fit.strays import RATES, StrayRates
from model.fit.target import Target
from model.fit.weighing import LEAST_EFFECTIVE
from model.plant import KINDS, LEARNED_SCALES
from model.predict import PosteriorDraws, draw_late_loss
from model.prior import ParameterDraws
from model.reference import Reference


@dataclass(frozen=True, eq=False)
class Fitted:
    """A fit.

    Attributes
    ----------
    draws : PosteriorDraws
        Equally weighted: what predictions are made of.
    posterior : Posterior
        Weighted draws before resampling.
    hierarchy : Hierarchy
    diagnostics : dict
        Effective number of draws, Pareto k, Newton steps, whether there are enough draws, and whether the fit is of the
        clock alone.
    """

    draws: PosteriorDraws
    posterior: Posterior
    hierarchy: Hierarchy
    diagnostics: dict[str, float | int | bool]


def fit_boxes(
    observations: Observations,
    reference: Reference,
    *,
    n_draws: int,
    n_weighed: int | None,
    seed: int,
    strays: StrayRates | None = RATES,
) -> Fitted:
    """Fit the model to boxes; parameters are those of `TransitSurvival`.

    Raises
    ------
    ConvergenceError
        When Newton's steps do not settle.
    """
    hierarchy, rng = Hierarchy(observations, reference), np.random.default_rng(seed)

    def run(rates: StrayRates | None) -> Posterior:
        target = Target(observations, hierarchy, rates=rates)
        return Inference(InnerMode(target)).run(rng=rng, n_weighed=n_weighed)

    # The matrices are small: threads of the linear algebra library would wait for each other.
    with threadpool_limits(1):
        try:
            posterior, by_clock = run(strays), strays is None
        except ConvergenceError:
            if strays is None:
                raise
            # Where every record looks like a stray (all plants of all boxes damaged) the mixture has a mode of strays
            # beside that of the clock, and draws about one miss the other.
            posterior, by_clock = run(None), True
    draws = resample(posterior, hierarchy, reference, n_draws, seed, rng=rng)
    diagnostics = {
        "effective_draws": posterior.effective,
        "enough_draws": posterior.effective >= LEAST_EFFECTIVE and posterior.pareto_k < MOST_PARETO_K,
        "pareto_k": posterior.pareto_k,
        "moves": posterior.n_moves,
        "kappa_draws_replaced": posterior.n_replaced,
        "newton_steps": posterior.n_newton,
        "outer_steps": posterior.n_outer,
        "by_clock_alone": by_clock,
    }
    return Fitted(draws, posterior, hierarchy, diagnostics)


def resample(
    posterior: Posterior,
    hierarchy: Hierarchy,
    reference: Reference,
    n: int,
    key: int,
    *,
    rng: np.random.Generator,
) -> PosteriorDraws:
    """Return n equally weighted draws, by systematic resampling, in random order."""
    cumulative = np.cumsum(np.exp(posterior.log_weights))
    points = (np.arange(n) + rng.random()) / n * cumulative[-1]
    index = rng.permutation(np.minimum(np.searchsorted(cumulative, points), len(cumulative) - 1))
    x, theta = posterior.x[index], posterior.theta[index]
    outer = {name: np.exp(theta[:, i]) for i, name in enumerate(OUTER)}
    parameters = ParameterDraws(
        alpha=x[:, 0],
        kappa=x[:, 1],
        delta=x[:, 2],
        log_q10=np.log1p(outer["q10_less_one"]),
        chill_rate=outer["chill_rate"],
        h0=outer["h0"],
        lost=special.expit(theta[:, LOG_ODDS_LOST]),
        scales={name: outer[name] for name in LEARNED_SCALES},
        n_replaced=posterior.n_replaced,
    )
    effects = {
        kind: {
            level: np.ascontiguousarray(x[:, hierarchy.slices[kind].start + i])
            for i, level in enumerate(hierarchy.levels[kind])
        }
        for kind in KINDS
    }
    late_loss = draw_late_loss(reference.late_loss_rules, n, rng=rng)
    return PosteriorDraws(parameters, late_loss, reference, key, effects)
