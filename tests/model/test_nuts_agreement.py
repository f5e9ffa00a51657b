"""The posterior agrees with NUTS (PyMC) on the same boxes, at 20, 60 and 300 of them.

The recorded results, and the script that made them, are in `tests/references`: the model written out afresh, with
shipment and line effects sampled. It is of the clock alone: no box is lost whole, no record
wrong, and deviations are normal. Tolerances: means
0.15 sd and sds 10 % for common parameters and effects, 0.25 sd and 20 % for log scales, chances 0.01 on average and
0.02 at most; each plus twice the Monte Carlo errors of both sides.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest

from model.exposure.damage import REFERENCE_C, extreme_rate
from model.exposure.table import Array
from model.fit.fitting import resample
from model.fit.hierarchy import Hierarchy
from model.fit.inference import Inference, Posterior
from model.fit.inner_mode import InnerMode
from model.fit.observations import Observations
from model.fit.target import Target
from model.fit.weighing import DRAWS_A_THETA
from model.plant.plant import Plant
from model.predict.predict import MarginalChances, PosteriorDraws, linear_predictor, plant_effects
from model.prior.priors import solve_prior
from model.reference.tables import load_reference
from tests.references.quantities import parameters
from tests.references.scenario import (
    NEW_SELLER_EVERY,
    SIZES,
    Query,
    fingerprint,
    prior_of_the_reference,
    queries,
    scenario,
)

REFERENCE = load_reference()
RECORDED = Path(__file__).parents[1] / "references"
# Fewer for larger ledgers, so that the whole takes half a minute; their Monte Carlo error counts.
N_WEIGHED = {20: 16_384, 60: 8192, 300: 4096}
N_RESAMPLED = 8192
COMMON = ("alpha", "kappa", "delta", "log_q10")


class Estimate(NamedTuple):
    """A weighted mean and sd, with their Monte Carlo standard errors."""

    mean: float
    sd: float
    mean_error: float
    sd_error: float


@dataclass(frozen=True)
class Fit:
    """One ledger's fit beside the recorded reference."""

    observations: Observations
    hierarchy: Hierarchy
    posterior: Posterior
    recorded: dict[str, Any]

    def estimate(self, values: Array) -> Estimate:
        """Return a quantity's weighted moments; draws that share a theta are one cluster in their errors."""
        w = np.exp(self.posterior.log_weights)
        mean = float(w @ values)
        squared = (values - mean) ** 2
        variance = float(w @ squared)
        mean_error, variance_error = (
            float(np.sqrt(((w * gap).reshape(-1, DRAWS_A_THETA).sum(axis=1) ** 2).sum()))
            for gap in (values - mean, squared - variance)
        )
        sd = float(np.sqrt(variance))
        return Estimate(mean, sd, mean_error, variance_error / (2.0 * sd))

    def effects(self) -> Iterator[tuple[str, Array, dict[str, float]]]:
        """Yield the name, draws and recorded moments of every effect with data."""
        for kind, recorded in self.recorded["effects"].items():
            levels = [list(level) if isinstance(level, tuple) else level for level in self.observations.levels[kind]]
            assert recorded["levels"] == levels
            start = self.hierarchy.slices[kind].start
            for i, level in enumerate(levels):
                moments = {name: values[i] for name, values in recorded.items() if name != "levels"}
                yield f"{kind} {level}", self.posterior.x[:, start + i], moments


@pytest.fixture(scope="module", params=SIZES)
def fit(request: pytest.FixtureRequest) -> Fit:
    n_boxes: int = request.param
    return fitted(n_boxes)


FITS: dict[int, Fit] = {}


def fitted(n_boxes: int) -> Fit:
    """Fit once a size, whichever test asks first."""
    if n_boxes not in FITS:
        design, observations = scenario(n_boxes)
        recorded = json.loads((RECORDED / f"nuts_{n_boxes:03d}.json").read_text(encoding="utf-8"))
        assert recorded["fingerprint"] == fingerprint(design, observations), "recorded for other data: run the script"
        hierarchy = Hierarchy(observations, REFERENCE, heavy=())
        rng = np.random.default_rng(0)
        posterior = Inference(InnerMode(Target(observations, hierarchy, rates=None))).run(
            rng=rng, n_weighed=N_WEIGHED[n_boxes]
        )
        FITS[n_boxes] = Fit(observations, hierarchy, posterior, recorded)
    return FITS[n_boxes]


def assert_close(
    name: str, found: Estimate, recorded: dict[str, float], *, mean_in_sds: float, relative_sd: float
) -> None:
    sd = recorded["sd"]
    mean_noise = 2.0 * np.hypot(found.mean_error, recorded["mcse_mean"])
    sd_noise = 2.0 * np.hypot(found.sd_error, recorded["mcse_sd"])
    assert found.mean == pytest.approx(recorded["mean"], abs=mean_in_sds * sd + float(mean_noise)), name
    assert found.sd == pytest.approx(sd, abs=relative_sd * sd + float(sd_noise)), name


def test_the_reference_itself_is_sound(fit: Fit) -> None:
    """4 chains, bulk and tail effective sizes of 4,000 and more, R-hat below 1.01, no divergences."""
    reached = fit.recorded["diagnostics"]
    assert fit.recorded["sampler"]["chains"] == 4
    assert reached["divergences"] == 0
    assert min(reached["least_ess_bulk"], reached["least_ess_tail"]) >= 4000
    assert reached["largest_rhat"] < 1.01


def test_the_prior_is_that_of_the_reference_but_for_its_nodes() -> None:
    """With more nodes it is at most 0.03 sds and 4 % of an sd from the one that was run, at the widest spreads."""
    rows = REFERENCE.prior_scales
    log_q10 = float(np.log1p(rows["q10_less_one"].median))
    now, then = solve_prior(REFERENCE.rules, log_q10=log_q10, h0=rows["h0"].median), prior_of_the_reference()
    sds, before = (np.sqrt(np.diagonal(table.covariance, axis1=1, axis2=2)) for table in (now, then))
    assert np.abs((now.mean - then.mean) / sds).max() < 0.03
    np.testing.assert_allclose(before, sds, rtol=0.04)
    np.testing.assert_allclose(then.delta_mean, now.delta_mean, rtol=0.006)


def test_common_parameters_agree(fit: Fit) -> None:
    for name in COMMON:
        found = fit.estimate(parameters(fit.posterior)[name])
        assert_close(name, found, fit.recorded["parameters"][name], mean_in_sds=0.15, relative_sd=0.1)


def test_every_effect_with_data_agrees(fit: Fit) -> None:
    names = []
    for name, draws, recorded in fit.effects():
        assert_close(name, fit.estimate(draws), recorded, mean_in_sds=0.15, relative_sd=0.1)
        names.append(name)
    assert len(names) == fit.hierarchy.n_inner - 3


def test_log_scales_agree(fit: Fit) -> None:
    for name, draws in parameters(fit.posterior).items():
        if name not in COMMON:
            recorded = fit.recorded["parameters"][name]
            assert_close(name, fit.estimate(draws), recorded, mean_in_sds=0.25, relative_sd=0.2)


def test_monte_carlo_error_does_not_hide_what_is_compared(fit: Fit) -> None:
    """Twice the error of a mean stays below the tolerance it is added to."""
    assert fit.posterior.effective >= 500
    for draws in parameters(fit.posterior).values():
        found = fit.estimate(draws)
        assert 2.0 * found.mean_error < 0.15 * found.sd


def log_rate(query: Query, draws: PosteriorDraws) -> Array:
    """Return log equivalent days a day, from the formula of the clock."""
    parameters = draws.parameters
    warm = np.exp(parameters.log_q10 * (max(query.inside_c, query.threshold_c) - REFERENCE_C) / 10.0)
    chill = parameters.chill_rate * query.sensitivity * max(query.threshold_c - query.inside_c, 0.0)
    rate: Array = np.log(warm + chill + extreme_rate(np.array(query.inside_c)))
    return rate


def chances(asked: list[Query], draws: PosteriorDraws) -> tuple[Array, Array]:
    """Return P(healthy) and P(dead) of each query and draw, as predictions make them, (queries, draws)."""
    marginal = MarginalChances(draws)
    both = []
    for query in asked:
        plant = Plant(
            REFERENCE.genera[query.genus],
            container=query.container,
            roots=query.roots,
            service=query.service,
            seller_kind=query.seller_kind,
            seller=query.seller,
            quarter=query.quarter,
        )
        days = query.days * np.exp(log_rate(query, draws))
        both.append(marginal(linear_predictor(plant_effects(plant, draws), days, draws)))
    healthy, dead = (np.array(of, dtype=np.float64) for of in zip(*both, strict=True))
    return healthy, dead


def test_chances_agree(fit: Fit) -> None:
    """200 fixed questions, one in ten about a seller without data, answered from resampled draws."""
    asked = queries(fit.observations)
    assert len(asked) == 200
    assert sum(query.quarter is None for query in asked) >= len(asked) // NEW_SELLER_EVERY
    draws = resample(fit.posterior, fit.hierarchy, REFERENCE, N_RESAMPLED, 0, rng=np.random.default_rng(0))
    draws = replace(draws, parameters=replace(draws.parameters, lost=np.zeros(N_RESAMPLED)))
    for name, of_draws in zip(("healthy", "dead"), chances(asked, draws), strict=True):
        recorded = fit.recorded["queries"][name]
        effective = min(fit.posterior.effective, N_RESAMPLED)
        # A chance that is 1 in every draw has no error, and none is recorded.
        constant = np.array(recorded["sd"]) == 0.0
        mcse = np.where(constant, 0.0, recorded["mcse_mean"])
        noise = 2.0 * np.hypot(of_draws.std(axis=1) / np.sqrt(effective), mcse)
        apart = np.abs(of_draws.mean(axis=1) - recorded["mean"])
        assert apart.mean() <= 0.01 + noise.mean(), name
        assert (apart <= 0.02 + noise).all(), (name, int(np.argmax(apart - noise)), apart.max())


def test_the_standardised_error_of_kappa_does_not_grow_with_boxes() -> None:
    """A joint mode of box effects and parameters is off by 0.7 sd at 300 boxes, and by less at 20."""
    errors, noise = {}, {}
    for n_boxes in (SIZES[0], SIZES[-1]):
        fit = fitted(n_boxes)
        recorded = fit.recorded["parameters"]["kappa"]
        found = fit.estimate(parameters(fit.posterior)["kappa"])
        errors[n_boxes] = abs(found.mean - recorded["mean"]) / recorded["sd"]
        noise[n_boxes] = 2.0 * np.hypot(found.mean_error, recorded["mcse_mean"]) / recorded["sd"]
    assert errors[SIZES[-1]] <= errors[SIZES[0]] + float(np.hypot(*noise.values()))
    assert errors[SIZES[-1]] < 0.15
