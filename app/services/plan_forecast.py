"""The forecast that is stored with a plan: the answer given, and its distributions to be scored by later.

A score must not depend on code or tables that have changed since, so nothing is left to be computed again: counts are
stored as they were drawn, and the chances behind them as draws of the hazards (`model.scoring.Hazards`).
"""

from base64 import b64encode
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.engine import Engine
from app.schemas.compare import CompareRequest
from app.schemas.plan_forecast import (
    ConditionDraws,
    CountDraws,
    ForecastLine,
    ForecastScoring,
    HazardDraws,
    MeanChances,
    PlanForecastAnswer,
    ScoredForecast,
)
from app.services.compare import SimulatedBatch, SimulatedRoute, answer_simulated
from model.predict import box_chances
from model.priors import SPOILT_DEATH_OFFSET
from model.quadrature import normal_nodes

Array = NDArray[np.float64]
Counts = NDArray[np.int64]

# Levels of the quantiles of the time in transit; they hold the ends of 50, 80, 90, 95 and 99 % ranges.
TRANSIT_LEVELS = np.arange(1, 200) / 200.0
MOST_FINE_LINES = 50
BATCH_VALUES = 512
LINE_NODES = 9


@dataclass(frozen=True, slots=True)
class _Fineness:
    """How many draws of the hazards are stored, and how many different counts of a line."""

    hazard_draws: int
    line_values: int


FINE = _Fineness(hazard_draws=256, line_values=128)
COARSE = _Fineness(hazard_draws=64, line_values=24)


@dataclass(frozen=True, slots=True)
class PlanForecast:
    """A forecast ready to be stored.

    Attributes
    ----------
    model_version : str
    seed : int
    answer_json : str
        A `PlanForecastAnswer`.
    """

    model_version: str
    seed: int
    answer_json: str


def plan_forecast(request: CompareRequest, engine: Engine) -> PlanForecast:
    """Return the forecast of the first route of a request, whose boxes travel together or which is a single box.

    The rules of thumb speak about the same request, with the same seed, so that both can be scored alike.

    Raises
    ------
    InvalidInput
        For a place code that is not known.
    """
    fineness = FINE if len(request.lines) <= MOST_FINE_LINES else COARSE
    batch = SimulatedBatch(request, engine)
    simulated = [batch.simulate(route) for route in batch.prepared.routes]
    outcome = answer_simulated(batch, simulated).routes[0]
    rules_engine = Engine.load()
    rules = None
    if engine.model_version != rules_engine.model_version:
        by_rules = SimulatedBatch(request, rules_engine)
        rules = _scored(by_rules, by_rules.simulate(by_rules.prepared.routes[0]), fineness)
    scoring = ForecastScoring(
        draws=request.draws,
        forecast=_scored(batch, simulated[0], fineness),
        rules=rules,
        thinned=_thinned(len(request.lines), fineness),
    )
    answer = PlanForecastAnswer(**dict(outcome), model_version=engine.model_version, seed=request.seed, scoring=scoring)
    return PlanForecast(engine.model_version, request.seed, answer.model_dump_json())


def _thinned(n_lines: int, fineness: _Fineness) -> str | None:
    if fineness is FINE:
        return None
    return (
        f"{n_lines} lines: {fineness.hazard_draws} draws of the hazards instead of {FINE.hazard_draws}, and at most "
        f"{fineness.line_values} counts of a line instead of {FINE.line_values}"
    )


def _scored(batch: SimulatedBatch, route: SimulatedRoute, fineness: _Fineness) -> ScoredForecast:
    drawn = route.drawn
    posterior = batch.simulation.posterior
    parameters = posterior.parameters
    eta = batch.simulation.shared_predictors(route.route.plan, route.journeys[0].exposure)
    line_sd = parameters.scales["line"]
    lines = []
    for i, line in enumerate(batch.request.lines):
        conditions = [draws[:, i] for draws in (drawn.healthy, drawn.damaged, drawn.dead)]
        lines.append(
            ForecastLine(
                genus=line.genus,
                cultivar=line.cultivar,
                quantity=line.quantity,
                mean_chances=_mean_chances(eta[i], line_sd, parameters.delta, parameters.h0),
                plants=_conditions(*conditions, most=fineness.line_values),
            )
        )
    kept = _evenly_spread(drawn.healthy_chance @ _shares(batch.request), fineness.hazard_draws)
    return ScoredForecast(
        model_version=batch.engine.model_version,
        transit_days=np.round(np.quantile(drawn.days, TRANSIT_LEVELS), 4).tolist(),
        batch=_conditions(*(d.sum(axis=1) for d in (drawn.healthy, drawn.damaged, drawn.dead)), most=BATCH_VALUES),
        lines=lines,
        hazards=HazardDraws(
            n_draws=len(kept),
            death_offset=SPOILT_DEATH_OFFSET,
            log_h0=_packed(np.log(parameters.h0[kept])),
            log_delta=_packed(np.log(parameters.delta[kept])),
            line_sd=_packed(line_sd[kept]),
            eta=_packed(eta[:, kept]),
        ),
    )


def _shares(request: CompareRequest) -> Array:
    quantities = np.array([line.quantity for line in request.lines], dtype=float)
    shares: Array = quantities / quantities.sum()
    return shares


def _mean_chances(eta: Array, line_sd: Array, delta: Array, h0: Array) -> MeanChances:
    nodes, weights = normal_nodes(LINE_NODES)
    healthy, dead = box_chances(eta + line_sd * nodes[:, None], delta, h0)
    mean_healthy, mean_dead = float(weights @ healthy.mean(axis=1)), float(weights @ dead.mean(axis=1))
    return MeanChances(healthy=mean_healthy, damaged=max(0.0, 1.0 - mean_healthy - mean_dead), dead=mean_dead)


def _conditions(healthy: Counts, damaged: Counts, dead: Counts, *, most: int) -> ConditionDraws:
    return ConditionDraws(
        healthy=count_draws(healthy, most), damaged=count_draws(damaged, most), dead=count_draws(dead, most)
    )


def count_draws(counts: Counts, most: int) -> CountDraws:
    """Return drawn counts, (draws,), as values and how often each was drawn.

    Of more than `most` different values, `most` quantiles at the middles of as many equal parts are kept.
    """
    values, drawn = np.unique(counts, return_counts=True)
    if len(values) > most:
        levels = (np.arange(most) + 0.5) / most
        values, drawn = np.unique(np.quantile(counts, levels, method="inverted_cdf"), return_counts=True)
    return CountDraws(counts=values.astype(int).tolist(), draws=drawn.tolist())


def _evenly_spread(healthy_share: Array, n: int) -> NDArray[np.intp]:
    """Return every so-manyth draw in order of a share, (draws,): a systematic sample is stratified by it."""
    order = np.argsort(healthy_share, kind="stable")
    n = min(n, len(order))
    kept: NDArray[np.intp] = order[((np.arange(n) + 0.5) * len(order) / n).astype(int)]
    return kept


def _packed(numbers: Array) -> str:
    return b64encode(numbers.astype("<f2").tobytes()).decode("ascii")
