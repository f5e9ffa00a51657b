"""Arrived boxes scored: the forecasts stored with their plans against the counts."""

import json
from collections import defaultdict, deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.records import timed_transit_days
from app.schemas import plant_key
from app.store import CountedLine, ForecastBox
from model.scoring import (
    UNKNOWN,
    CountRange,
    HazardFactors,
    brier_score,
    central_range,
    drawn_counts,
    join_boxes,
    log_scores,
)

Array = NDArray[np.float64]
Counts = NDArray[np.int64]

LEVELS = (0.5, 0.8, 0.95)
# Where fewer or more plants came than were ordered, about so many counts are drawn again for those that came.
REDRAWN = 4096
BOXES_AT_ONCE = 32
HEALTHY, DEAD, SENT = 0, 2, 3


@dataclass(frozen=True, slots=True)
class ModelScores:
    """Scores of one model on one box."""

    log_score: float
    brier: float


@dataclass(frozen=True, slots=True)
class FoundRanges:
    """What was found, and the range of each level."""

    found: float
    ranges: tuple[tuple[float, float, float], ...]


@dataclass(frozen=True, slots=True, eq=False)
class BoxScore:
    """What the track record keeps of a box.

    Attributes
    ----------
    forecast : ModelScores
    rules : ModelScores or None
        None where the forecast is that of the rules.
    genera : tuple of (str, int)
        Genus and plants of each line.
    chances : (lines, 2)
        Given to healthy and to dead.
    counts : (lines, 4)
        Healthy, damaged, dead, sent; -1 where unknown.
    count : FoundRanges or None
        Of the plants of the box; None where no one count was made of all of them.
    pit : (float, float) or None
        Chances of fewer than was found, and of no more.
    transit : FoundRanges or None
    lines_not_forecast : int
    """

    forecast: ModelScores
    rules: ModelScores | None
    genera: tuple[tuple[str, int], ...]
    chances: Array
    counts: Counts
    count: FoundRanges | None
    pit: tuple[float, float] | None
    transit: FoundRanges | None
    lines_not_forecast: int


def score_boxes(boxes: Iterable[tuple[ForecastBox, str]]) -> Iterator[BoxScore | None]:
    """Yield the scores of boxes, each with its forecast as JSON; None where no plant forecast was sent and counted.

    Lines are scored given how many plants of them were sent; lines that were not in the plan have no forecast.
    """
    rest = iter(boxes)
    while part := [_read(box, answer_json) for box, answer_json in islice(rest, BOXES_AT_ONCE)]:
        scored = [one for one in part if one is not None]
        forecast = iter(_log_scores([(one.forecast, one.counts) for one in scored]))
        rules = iter(_log_scores([(one.rules, one.counts) for one in scored if one.rules is not None]))
        for one in part:
            yield None if one is None else _scored(one, next(forecast), None if one.rules is None else next(rules))


class _Said(NamedTuple):
    """What one model said of the lines that are scored."""

    factors: HazardFactors
    chances: Array


class _Read(NamedTuple):
    """A box ready to be scored."""

    box: ForecastBox
    forecast: _Said
    rules: _Said | None
    counts: Counts
    genera: tuple[tuple[str, int], ...]
    distribution: tuple[Counts, Counts, int] | None
    transit_days: list[float]
    lines_not_forecast: int


def _read(box: ForecastBox, answer_json: str) -> _Read | None:
    answer = json.loads(answer_json)
    scoring = answer["scoring"]
    said, rules = scoring["forecast"], scoring["rules"]
    places = _planned_places(box.lines, said["lines"])
    scored = [(line, i) for line, i in places if line.sent and (line.healthy is not None or line.dead is not None)]
    if not scored:
        return None
    index = np.array([i for _, i in scored])
    counts = _counts([line for line, _ in scored])
    forecast = _said(said, index)
    return _Read(
        box=box,
        forecast=forecast,
        rules=None if rules is None else _said(rules, index),
        counts=counts,
        genera=tuple((line.genus, line.sent or 0) for line, _ in scored),
        distribution=_distribution(said, forecast.factors, index, counts, seed=answer["seed"]),
        transit_days=said["transit_days"],
        lines_not_forecast=sum(1 for line in box.lines if line.sent) - sum(1 for line, _ in places if line.sent),
    )


def _log_scores(boxes: Sequence[tuple[_Said, Counts]]) -> list[float]:
    """Return the log score of each box; boxes whose forecasts have as many draws are scored at once."""
    scores = np.empty(len(boxes))
    draws = np.array([said.factors.common.shape[1] for said, _ in boxes])
    for n in np.unique(draws):
        these = np.nonzero(draws == n)[0].tolist()
        factors = join_boxes([boxes[i][0].factors for i in these])
        scores[these] = log_scores(factors, np.concatenate([boxes[i][1] for i in these]))
    return [float(score) for score in scores]


def _scored(one: _Read, forecast: float, rules: float | None) -> BoxScore:
    def brier(said: _Said) -> float:
        return brier_score(said.chances[:, 0], said.chances[:, 1], one.counts)

    return BoxScore(
        forecast=ModelScores(forecast, brier(one.forecast)),
        rules=None if rules is None or one.rules is None else ModelScores(rules, brier(one.rules)),
        genera=one.genera,
        chances=one.forecast.chances,
        counts=one.counts,
        count=None if one.distribution is None else _ranges(*one.distribution),
        pit=None if one.distribution is None else _pit(*one.distribution),
        transit=_transit(one.box, one.transit_days),
        lines_not_forecast=one.lines_not_forecast,
    )


def _planned_places(found: Sequence[CountedLine], planned: list[dict[str, Any]]) -> list[tuple[CountedLine, int]]:
    """Return the lines that were in the plan, each with its place there, in that order.

    Lines are known by their plants, since a file may sort them anew.
    """
    free: defaultdict[tuple[str, str], deque[int]] = defaultdict(deque)
    for i, of_plan in enumerate(planned):
        free[plant_key(of_plan["genus"], of_plan["cultivar"])].append(i)
    places = []
    for line in found:
        of_plant = free[plant_key(line.genus, line.cultivar)]
        if of_plant:
            places.append((line, of_plant.popleft()))
    return sorted(places, key=lambda place: place[1])


def _counts(lines: list[CountedLine]) -> Counts:
    cells = [[line.healthy, line.damaged, line.dead, line.sent] for line in lines]
    return np.array([[UNKNOWN if cell is None else cell for cell in row] for row in cells], dtype=np.int64)


def _said(said: dict[str, Any], index: Counts) -> _Said:
    stored = said["hazards"]
    lines = [stored["lines"][i] for i in index]
    genera: dict[str, int] = {}
    genus = [genera.setdefault(said["lines"][i]["genus"].casefold(), len(genera)) for i in index]
    factors = HazardFactors(
        **{name: np.array([stored[name]]) for name in ("common", "log_h0", "log_delta", "line_sd", "death_offset")},
        # Forecasts stored before boxes could be lost whole.
        **{name: np.array([stored.get(name, 0.0)]) for name in ("lost", "lost_healthy", "lost_dead")},
        **{name: np.array([row[name] for row in lines]) for name in ("intercept", "slope", "genus_sd", "own_sd")},
        box=np.zeros(len(lines), dtype=np.int64),
        genus=np.array(genus),
    )
    means = [said["lines"][i]["mean_chances"] for i in index]
    return _Said(factors, np.array([[mean["healthy"], mean["dead"]] for mean in means]))


def _distribution(
    said: dict[str, Any], factors: HazardFactors, index: Counts, counts: Counts, *, seed: int
) -> tuple[Counts, Counts, int] | None:
    """Return the forecast of the healthy plants of a box (else of the dead), values and weights, and what was found."""
    kind = next((kind for kind in (HEALTHY, DEAD) if (counts[:, kind] >= 0).all()), None)
    if kind is None:
        return None
    found = int(counts[:, kind].sum())
    ordered = np.array([line["quantity"] for line in said["lines"]])
    if len(index) == len(ordered) and (counts[:, SENT] == ordered[index]).all():
        stored = said["batch"]["healthy" if kind == HEALTHY else "dead"]
        return np.array(stored["counts"]), np.array(stored["draws"]), found
    n_each = -(-REDRAWN // factors.common.shape[1])
    healthy, dead = drawn_counts(factors, counts[:, SENT], n_each, rng=np.random.default_rng(seed))
    return *np.unique(healthy if kind == HEALTHY else dead, return_counts=True), found


def _ranges(values: Counts, weights: Counts, found: int) -> FoundRanges:
    ranges: list[CountRange] = [central_range(values, weights, level) for level in LEVELS]
    return FoundRanges(found, tuple(ranges))


def _pit(values: Counts, weights: Counts, found: int) -> tuple[float, float]:
    total = weights.sum()
    return float(weights[values < found].sum() / total), float(weights[values <= found].sum() / total)


def _transit(box: ForecastBox, quantiles: list[float]) -> FoundRanges | None:
    """Return the days in transit with their ranges; None without both moments, and for a time given as fixed."""
    if box.departed_at is None or box.opened_at is None or quantiles[0] == quantiles[-1]:
        return None
    levels = np.arange(1, len(quantiles) + 1) / (len(quantiles) + 1)
    ends = [np.interp([(1.0 - level) / 2.0, (1.0 + level) / 2.0], levels, quantiles) for level in LEVELS]
    ranges = tuple((float(low), float(high), level) for (low, high), level in zip(ends, LEVELS, strict=True))
    return FoundRanges(timed_transit_days(box.departed_at, box.opened_at), ranges)
