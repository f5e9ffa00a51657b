"""One arrived box scored: the forecast stored with its plan against the counts."""

import json
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.services.recorded_transit import timed_transit_days
from app.store.forecasts import CountedLine, ForecastBox
from model.calibration import CountRange, central_range
from model.hazard_factors import HazardFactors
from model.scoring import UNKNOWN, brier_score, drawn_counts, log_score

Array = NDArray[np.float64]
Counts = NDArray[np.int64]

LEVELS = (0.5, 0.8, 0.95)
# Where fewer or more plants came than were ordered, about so many counts are drawn again for those that came.
REDRAWN = 4096
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


def score_box(box: ForecastBox, answer_json: str) -> BoxScore | None:
    """Return the scores of a box; None where no plant that was forecast was sent and counted.

    Lines are scored given how many plants of them were sent; lines that were not in the plan have no forecast.
    """
    answer = json.loads(answer_json)
    scoring = answer["scoring"]
    said, rules = scoring["forecast"], scoring["rules"]
    planned = [(line["genus"], line["cultivar"]) for line in said["lines"]]
    found = [line for line in box.lines if _is_planned(line, planned)]
    scored = [line for line in found if line.sent and (line.healthy is not None or line.dead is not None)]
    if not scored:
        return None
    index = np.array([line.position for line in scored])
    counts = _counts(scored)
    distribution = _distribution(said, scored, index, counts, seed=answer["seed"])
    return BoxScore(
        forecast=_scores(said, index, counts),
        rules=None if rules is None else _scores(rules, index, counts),
        genera=tuple((line.genus, line.sent or 0) for line in scored),
        chances=_chances(said, index),
        counts=counts,
        count=distribution and _ranges(*distribution),
        pit=distribution and _pit(*distribution),
        transit=_transit(box, said["transit_days"]),
        lines_not_forecast=sum(1 for line in box.lines if line.sent and not _is_planned(line, planned)),
    )


def _is_planned(line: CountedLine, planned: list[tuple[str, str | None]]) -> bool:
    return line.position < len(planned) and planned[line.position] == (line.genus, line.cultivar)


def _counts(lines: list[CountedLine]) -> Counts:
    cells = [[line.healthy, line.damaged, line.dead, line.sent] for line in lines]
    return np.array([[UNKNOWN if cell is None else cell for cell in row] for row in cells], dtype=np.int64)


def _scores(said: dict[str, Any], index: Counts, counts: Counts) -> ModelScores:
    chances = _chances(said, index)
    return ModelScores(
        log_score=log_score(_factors(said, index), counts), brier=brier_score(chances[:, 0], chances[:, 1], counts)
    )


def _chances(said: dict[str, Any], index: Counts) -> Array:
    means = [said["lines"][i]["mean_chances"] for i in index]
    return np.array([[mean["healthy"], mean["dead"]] for mean in means])


def _factors(said: dict[str, Any], index: Counts) -> HazardFactors:
    stored = said["hazards"]
    lines = [stored["lines"][i] for i in index]
    genus = np.unique([said["lines"][i]["genus"] for i in index], return_inverse=True)[1]
    return HazardFactors(
        **{name: np.array(stored[name]) for name in ("common", "log_h0", "log_delta", "line_sd")},
        **{name: np.array([row[name] for row in lines]) for name in ("intercept", "slope", "genus_sd", "own_sd")},
        genus=genus.astype(np.int64),
        death_offset=stored["death_offset"],
    )


def _distribution(
    said: dict[str, Any], scored: list[CountedLine], index: Counts, counts: Counts, *, seed: int
) -> tuple[Counts, Counts, int] | None:
    """Return the forecast of the healthy plants of a box (else of the dead), values and weights, and what was found."""
    kind = next((kind for kind in (HEALTHY, DEAD) if (counts[:, kind] >= 0).all()), None)
    if kind is None:
        return None
    found = int(counts[:, kind].sum())
    if [line.sent for line in scored] == [line["quantity"] for line in said["lines"]]:
        stored = said["batch"]["healthy" if kind == HEALTHY else "dead"]
        return np.array(stored["counts"]), np.array(stored["draws"]), found
    factors = _factors(said, index)
    n_each = -(-REDRAWN // len(factors.common))
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
