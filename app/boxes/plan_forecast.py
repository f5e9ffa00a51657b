"""The forecast that is stored with a plan: the answer given, and its distributions to be scored by later.

A score must not depend on code or tables that have changed since, so nothing is left to be computed again: counts are
stored as they were drawn, and the chances behind them as factors of the hazards (`model.scoring.hazard_factors`).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.batch import prepare
from app.comparing import SimulatedBatch, SimulatedRoute, route_outcomes, route_results
from app.schemas import (
    Assumed,
    CompareRequest,
    ConditionDraws,
    CountDraws,
    ForecastLine,
    ForecastScoring,
    HazardDraws,
    LineHazard,
    MeanChances,
    PlanForecastAnswer,
    ScoredForecast,
)
from app.serving import Engine, rules_version
from model.plant import SPOILT_DEATH_OFFSET
from model.predict import PosteriorDraws, box_chances, genus_effects
from model.quadrature import even_nodes
from model.reference import CONSTANTS
from model.scoring import split_hazards

Array = NDArray[np.float64]
Counts = NDArray[np.int64]

# Levels of the quantiles of the time in transit; they hold the ends of 50, 80, 90, 95 and 99 % ranges.
TRANSIT_LEVELS = np.arange(1, 200) / 200.0
MOST_FINE_LINES = 50
# At most so many different counts are stored; beyond, so many quantiles of them.
BATCH_VALUES = 512
LINE_VALUES = 128
LINE_VALUES_OF_MANY = 24
HAZARD_DRAWS = 128


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


def plan_forecast(request: CompareRequest, engine: Engine, from_record: Sequence[Assumed] = ()) -> PlanForecast:
    """Return the forecast of the first route of a request, whose boxes travel together or which is a single box.

    The rules of thumb speak about the same request, with the same seed, so that both can be scored alike.
    `from_record` is what was filled in from the record of the seller.

    Raises
    ------
    InvalidInput
        For a place code that is not known.
    """
    batch = SimulatedBatch(request, prepare(request, engine, request.ship_date, from_record), engine)
    simulated = batch.routes()
    outcome = route_outcomes(batch, route_results(batch, simulated))[0]
    rules = None
    if engine.model_version != rules_version(engine.reference):
        by_rules = batch.by_rules()
        rules = _scored(by_rules, by_rules.simulate(by_rules.prepared.routes[0]))
    scoring = ForecastScoring(
        draws=batch.request.draws,
        forecast=_scored(batch, simulated[0]),
        rules=rules,
        thinned=_thinned(len(request.lines)),
    )
    answer = PlanForecastAnswer(**dict(outcome), model_version=engine.model_version, seed=request.seed, scoring=scoring)
    return PlanForecast(engine.model_version, request.seed, answer.model_dump_json())


def _line_values(n_lines: int) -> int:
    return LINE_VALUES if n_lines <= MOST_FINE_LINES else LINE_VALUES_OF_MANY


def _thinned(n_lines: int) -> str | None:
    if (most := _line_values(n_lines)) == LINE_VALUES:
        return None
    return f"{n_lines} lines: at most {most} different counts of each line are kept, instead of {LINE_VALUES}"


def _scored(batch: SimulatedBatch, route: SimulatedRoute) -> ScoredForecast:
    drawn, request = route.drawn, batch.request
    posterior = batch.simulation.posterior
    eta = batch.simulation.shared_predictors(route.route.plan, route.journeys[0].exposure)
    most = _line_values(len(request.lines))
    lines = [
        ForecastLine(
            genus=line.genus,
            cultivar=line.cultivar,
            quantity=line.quantity,
            mean_chances=_mean_chances(eta[i], posterior),
            plants=_conditions(drawn.healthy[:, i], drawn.damaged[:, i], drawn.dead[:, i], most=most),
        )
        for i, line in enumerate(request.lines)
    ]
    return ScoredForecast(
        model_version=batch.engine.model_version,
        transit_days=_rounded(np.quantile(drawn.days, TRANSIT_LEVELS)),
        batch=_conditions(*(d.sum(axis=1) for d in (drawn.healthy, drawn.damaged, drawn.dead)), most=BATCH_VALUES),
        lines=lines,
        hazards=_hazards(batch, eta),
    )


def _hazards(batch: SimulatedBatch, eta: Array) -> HazardDraws:
    posterior = batch.simulation.posterior
    parameters = posterior.parameters
    plants = [line.plant for line in batch.prepared.lines]
    quantities = [line.quantity for line in batch.prepared.lines]
    # What is left without the effects of genus and cultivar differs between lines by weather's harm alone.
    own = {plant: genus_effects(plant, posterior) for plant in dict.fromkeys(plants)}
    common = np.average([of_line - own[plant] for of_line, plant in zip(eta, plants, strict=True)], 0, quantities)
    genus = np.unique([plant.genus_level for plant in plants], return_inverse=True)[1]
    split = split_hazards(eta, common, genus)
    order = np.argsort(common, kind="stable")
    n = min(HAZARD_DRAWS, len(order))
    # A systematic sample is stratified by what it is ordered by.
    kept = order[((np.arange(n) + 0.5) * len(order) / n).astype(int)]
    return HazardDraws(
        death_offset=SPOILT_DEATH_OFFSET,
        common=_rounded(common[kept]),
        log_h0=_rounded(np.log(parameters.h0[kept])),
        log_delta=_rounded(np.log(parameters.delta[kept])),
        line_sd=_rounded(parameters.scales["line"][kept]),
        lost=float(np.round(parameters.lost.mean(), 5)),
        lost_healthy=CONSTANTS.lost_healthy,
        lost_dead=CONSTANTS.lost_dead,
        lines=[
            LineHazard(intercept=a, slope=b, genus_sd=g, own_sd=o)
            for a, b, g, o in np.round(np.stack(split, axis=1), 5).tolist()
        ],
    )


def _rounded(numbers: Array) -> list[float]:
    rounded: list[float] = np.round(numbers, 4).tolist()
    return rounded


def _mean_chances(eta: Array, posterior: PosteriorDraws) -> MeanChances:
    parameters = posterior.parameters
    nodes, weights = even_nodes(float(parameters.scales["line"].max()))
    healthy, dead = box_chances(eta + parameters.scales["line"] * nodes[:, None], parameters.delta, parameters.h0)
    lost, kept = parameters.lost, 1.0 - parameters.lost
    healthy, dead = kept * healthy + lost * CONSTANTS.lost_healthy, kept * dead + lost * CONSTANTS.lost_dead
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
