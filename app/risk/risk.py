"""The chances of many lines of plants at once."""

from collections.abc import Callable, Hashable, Sequence
from functools import partial
from operator import itemgetter

import numpy as np
from numpy.typing import NDArray
from pydantic_core import to_json

from app.batch import drift_quarter, resolve_genus, seller_level
from app.risk.cautions import RiskCautions
from app.risk.exposure import QueryExposures
from app.risk.work_limit import check_work
from app.schemas import InsideTemperature, LaneTemperature, RiskQuery, RiskRequest
from app.serving import Engine, evidence_as_json
from model.exposure import ClockDraws, chill_rate, damage_rate
from model.plant import Plant, log_time_ratio, relative_log_days, time_predictor
from model.predict import PosteriorDraws, clock_draws, genus_effects, sending_effects
from model.reference import HIGH, LOW, Genus
from model.transit import SHORTEST_DAYS

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

# Queries taken at once: their draws stay in the cache.
CHUNK = 64
_CHANCES = b",".join(
    b'"%b":{"mean":%%b,"low":%%b,"high":%%b}' % name for name in (b"healthy", b"damaged", b"dead", b"healthy_two_weeks")
)
_RESULT = b'{%b,"equivalent_days":%%b,"evidence":%%b,"cautions":%%b}' % _CHANCES
_NAMED = itemgetter("genus", "cultivar", "container", "roots", "service", "seller_kind", "seller")


class _Rows:
    """Rows of draws, each worked out the first time its key is asked for."""

    def __init__(self) -> None:
        self.rows: list[Array] = []
        self._index: dict[Hashable, int] = {}

    def index(self, key: Hashable, row: Callable[[], Array]) -> int:
        """Return the index of a key's row."""
        known = self._index.get(key)
        if known is None:
            known = self._index[key] = len(self.rows)
            self.rows.append(row())
        return known

    def matrix(self) -> Array:
        """Return all rows, (rows, draws)."""
        return np.stack(self.rows)


class _Lines:
    """The plants of a request: which effects each query has, shared between queries that name the same."""

    def __init__(self, queries: Sequence[RiskQuery], engine: Engine) -> None:
        draws, reference = engine.chance_draws, engine.reference
        genus_rows, sending_rows, clock_rows = _Rows(), _Rows(), _Rows()
        known: dict[tuple[object, ...], tuple[int, int, int, float, int]] = {}
        self.unique: list[Plant] = []
        listed = []
        for query in queries:
            named = _NAMED(query.__dict__)
            lane = query.temperature if type(query.temperature) is LaneTemperature else None
            service_of_lane = lane.service if lane and query.service is None else None
            quarter = drift_quarter(query.seller, query.ship_date)
            key = (named, service_of_lane, quarter)
            found = known.get(key)
            if found is None:
                name, cultivar, container, roots, service, kind, seller = named
                genus = resolve_genus(name, reference)[0]
                seller = seller_level(seller)
                plant = Plant(genus, cultivar, container, roots, service or service_of_lane, kind, seller, quarter)
                found = known[key] = (
                    genus_rows.index((genus, cultivar), partial(genus_effects, plant, draws)),
                    sending_rows.index((*key[1:], *named[2:]), partial(sending_effects, plant, draws)),
                    clock_rows.index(genus, partial(_clock_row, genus, draws)),
                    log_time_ratio(plant, reference),
                    len(self.unique),
                )
                self.unique.append(plant)
            listed.append(found)
        self.index = np.fromiter((found[4] for found in listed), np.intp, len(listed))
        self.plants = [self.unique[i] for i in self.index.tolist()]
        self._genus, self._sending, self._clock = (
            np.fromiter((found[i] for found in listed), np.intp, len(listed)) for i in range(3)
        )
        self.log_time_ratio = np.fromiter((found[3] for found in listed), float, len(listed))
        self._genus_effects, self._sending_effects = genus_rows.matrix(), sending_rows.matrix()
        clocks = clock_rows.matrix()
        self._log_q10, n = draws.parameters.log_q10, draws.n_draws
        self._threshold, self._chill = clocks[:, :n], clocks[:, n:]

    def effects(self, rows: slice | Indices) -> Array:
        """Return the linear predictor but for time, temperature and time ratio, (rows, draws)."""
        return self._genus_effects.take(self._genus[rows], axis=0) + self._sending_effects.take(
            self._sending[rows], axis=0
        )

    def clock(self, rows: slice | Indices) -> ClockDraws:
        """Return the clock of each row's genus, (rows, draws)."""
        genus = self._clock[rows]
        return ClockDraws(self._log_q10, self._threshold.take(genus, axis=0), self._chill.take(genus, axis=0))


def _clock_row(genus: Genus | None, draws: PosteriorDraws) -> Array:
    """Return the genus's thresholds followed by its chill rates, (2 draws,)."""
    clock = clock_draws([genus], draws)
    return np.concatenate([clock.threshold_c[0], clock.chill_per_day_c[0]])


def answer_risk(request: RiskRequest, engine: Engine) -> bytes:
    """Return the answer, a `RiskAnswer`, as JSON bytes: results in the order asked.

    Written as text: ten thousand results as models would cost more than their computation.

    Raises
    ------
    TooMuchWork
        If the journeys of all queries take too long together.
    """
    queries = request.queries
    lines = _Lines(queries, engine)
    check_work(queries, lines.plants)
    exposures = QueryExposures(engine)
    cautions = RiskCautions(engine)
    log_days = np.log(np.maximum([query.transit_days for query in queries], SHORTEST_DAYS))
    inside = np.array([q.temperature.inside_c if type(q.temperature) is InsideTemperature else np.nan for q in queries])
    columns = np.empty((13, len(queries)))
    draws, kappa = engine.chance_draws, engine.chance_draws.parameters.kappa
    for start in range(0, len(queries), CHUNK):
        rows = slice(start, min(start + CHUNK, len(queries)))
        log_clock, dose = _constant(lines, rows, inside[rows, None], log_days[rows, None])
        for i in np.flatnonzero(np.isnan(inside[rows])).tolist():
            query = queries[start + i]
            log_clock[i], dose[i] = exposures.of(start + i, query, lines.plants[start + i].genus)
        eta = lines.effects(rows)
        columns[12, rows] = np.exp(np.sort(log_clock, axis=1)[:, draws.n_draws // 2])
        eta += time_predictor(kappa, log_clock, lines.log_time_ratio[rows, None], out=log_clock)
        healthy, dead = engine.marginal_chances(eta)
        kept = healthy * engine.kept_unchilled
        chilled = dose.any(axis=1)
        if chilled.any():
            kept[chilled] = healthy[chilled] * (1.0 - draws.late_loss.chance(dose[chilled]))
        damaged = np.subtract(np.float32(1.0), healthy)
        damaged -= dead
        for i, chances in enumerate((healthy, damaged, dead, kept)):
            columns[3 * i : 3 * i + 3, rows] = _interval(chances)
    columns[3] = 1.0 - columns[0] - columns[6]
    said = [cautions.of(query, plant) for query, plant in zip(queries, lines.plants, strict=True)]
    clock = relative_log_days(np.log(columns[12]), lines.log_time_ratio)
    evidence = evidence_as_json(engine, lines.unique, lines.index, clock)
    return _as_json(engine.model_version, columns, evidence, said)


def _as_json(model_version: str, columns: Array, evidence: Sequence[bytes], cautions: Sequence[bytes]) -> bytes:
    """Write the answer; `columns` holds mean, low and high of the four chances and the equivalent days."""
    if not np.isfinite(columns).all():
        raise FloatingPointError("a chance is not finite")
    rows = to_json(columns.T.tolist())[2:-2].split(b"],[")
    told = zip(rows, evidence, cautions, strict=True)
    results = b",".join(_RESULT % (*row.split(b","), behind, said) for row, behind, said in told)
    return b'{"model_version":%b,"results":[%b]}' % (to_json(model_version), results)


def _constant(lines: _Lines, rows: slice, inside_c: Array, log_days: Array) -> tuple[Array, Array]:
    """Return log equivalent days and chill dose of the rows with a constant temperature, (rows, draws)."""
    clock = lines.clock(rows)
    log_clock = damage_rate(inside_c, clock)
    np.log(log_clock, out=log_clock)
    log_clock += log_days
    dose = chill_rate(inside_c, clock)
    dose *= np.exp(log_days)
    return log_clock, dose


def _interval(chances: NDArray[np.float32]) -> tuple[NDArray[np.floating], ...]:
    """Return mean, 10 % and 90 % quantile over the draws of each row; sorts the rows in place."""
    n = chances.shape[1]
    mean = chances.mean(axis=1, dtype=np.float64)
    chances.sort(axis=1)
    return mean, chances[:, round(LOW * (n - 1))], chances[:, round(HIGH * (n - 1))]
