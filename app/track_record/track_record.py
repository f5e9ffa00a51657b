"""Forecasts against what was found: every arrived box with a forecast from before its arrival is scored."""

from collections import Counter, defaultdict
from collections.abc import Sequence
from datetime import datetime, time, timedelta, timezone
from typing import Literal, NamedTuple

import numpy as np

from app.batch import resolve_genus
from app.schemas import (
    CoverageRow,
    ForecastsBy,
    NotScored,
    RangesHeld,
    ReliabilityRow,
    Score,
    ScoreDifference,
    TrackPart,
    TrackRecordAnswer,
)
from app.serving import Engine
from app.store import Database, ForecastBox, count_lost_forecasts, read_forecast_boxes, read_forecasts
from app.track_record.box_scores import DEAD, HEALTHY, LEVELS, SENT, BoxScore, FoundRanges, score_boxes
from app.track_record.findings import Expected, findings
from app.track_record.verdict import NO_BOX, verdict
from model.reference import CONSTANTS, Reference
from model.scoring import coverage, paired_mean, pit_histogram, reliability

VERDICT_LEVEL = 0.8
PARTS_MINIMUM = CONSTANTS.record_part_boxes
EDGES = np.linspace(0.0, 1.0, 11)
PIT_BINS = 10
EASTERNMOST = timezone(timedelta(hours=14))
SEASONS = ("December to February", "March to May", "June to August", "September to November")


class TrackRecord:
    """The scores of a ledger; a box is scored once for each of its versions, since its forecast never changes."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._kept: dict[_Version, BoxScore | None] = {}

    def answer(self, engine: Engine) -> TrackRecordAnswer:
        """Return the track record as the ledger stands now; `engine` only names the genera's groups and itself.

        Raises
        ------
        StoreUnavailable
            If the database cannot be used.
        """
        boxes: list[ForecastBox] = []
        lost, kept = 0, self._kept
        stored: dict[int, str] = {}
        if not self._database.absent:
            with self._database.reading() as connection:
                boxes = read_forecast_boxes(connection)
                lost = count_lost_forecasts(connection)
                new = [box.number for box in boxes if is_before_arrival(box) and _version(box) not in kept]
                stored = read_forecasts(connection, new)
        before = [box for box in boxes if is_before_arrival(box)]
        fresh = score_boxes((box, stored[box.number]) for box in before if box.number in stored)
        scores = [next(fresh) if box.number in stored else kept[_version(box)] for box in before]
        self._kept = {_version(box): score for box, score in zip(before, scores, strict=True)}
        scored = [_Scored(box, score) for box, score in zip(before, scores, strict=True) if score is not None]
        not_scored = NotScored(
            lost=lost,
            forecast_after_arrival=len(boxes) - len(before),
            nothing_counted=len(before) - len(scored),
            lines_not_forecast=sum(one.score.lines_not_forecast for one in scored),
        )
        return _answer(scored, not_scored, engine)


_Version = tuple[str, int, datetime]


class _Scored(NamedTuple):
    box: ForecastBox
    score: BoxScore


def _version(box: ForecastBox) -> _Version:
    return box.id, box.revision, box.updated_at


def is_before_arrival(box: ForecastBox) -> bool:
    """Whether the forecast was stored before the box arrived; of a date alone, before the day began anywhere."""
    arrived = box.arrived_at or datetime.combine(box.arrival_date, time(), tzinfo=EASTERNMOST)
    return box.forecast_at < arrived


def _answer(scored: Sequence[_Scored], not_scored: NotScored, engine: Engine) -> TrackRecordAnswer:
    counts = {level: _held([one.score.count for one in scored], i) for i, level in enumerate(LEVELS)}
    transit = {level: _held([one.score.transit for one in scored], i) for i, level in enumerate(LEVELS)}
    log_score = _score(scored, "log_score")
    pit = np.array([one.score.pit for one in scored if one.score.pit is not None])
    said = verdict(VERDICT_LEVEL, counts[VERDICT_LEVEL], log_score.difference, not_scored.lost) if scored else NO_BOX
    versions = Counter(one.box.model_version for one in scored)
    parts = _parts(scored, engine.reference)
    expected = [one for one in map(_expected, scored) if one is not None]
    return TrackRecordAnswer(
        model_version=engine.model_version,
        boxes=len(scored),
        plants=sum(int(one.score.counts[:, SENT].sum()) for one in scored),
        forecasts_by=[ForecastsBy(model_version=name, boxes=n) for name, n in versions.items()],
        log_score=log_score,
        brier=_score(scored, "brier"),
        reliability=_reliability(scored, "healthy") + _reliability(scored, "dead"),
        coverage=[
            CoverageRow(
                level=level,
                counts=_share(counts[level]),
                transit_days=_share(transit[level]),
                n=counts[level].n,
                counts_held=counts[level],
                transit_held=transit[level],
            )
            for level in LEVELS
        ],
        pit=pit_histogram(pit[:, 0], pit[:, 1], PIT_BINS).tolist() if len(pit) else [],
        parts=parts,
        parts_minimum=PARTS_MINIMUM,
        not_scored=not_scored,
        verdict=said,
        findings=findings(
            expected,
            counts[VERDICT_LEVEL],
            transit[VERDICT_LEVEL],
            log_score.difference,
            parts,
            engine.reference,
        ),
    )


def _expected(one: _Scored) -> Expected | None:
    """Return the healthy plants of a box as forecast and as found, over the lines in which they were counted."""
    counts = one.score.counts
    known = counts[:, HEALTHY] >= 0
    if not known.any():
        return None
    sent = counts[known, SENT]
    return Expected(float(one.score.chances[known, 0] @ sent), int(counts[known, HEALTHY].sum()), int(sent.sum()))


def _score(scored: Sequence[_Scored], name: Literal["log_score", "brier"]) -> Score:
    if not scored:
        return Score(forecast=None, rules=None, difference=None)
    pairs = np.array([[getattr(m, name) for m in (s.forecast, s.rules or s.forecast)] for _, s in scored])
    fitted = np.array([s.rules is not None for _, s in scored])
    difference = None
    if fitted.any():
        mean = paired_mean(pairs[fitted, 0] - pairs[fitted, 1])
        difference = ScoreDifference(boxes=int(fitted.sum()), **mean._asdict())
    forecast, rules = pairs.mean(axis=0).tolist()
    return Score(forecast=forecast, rules=rules, difference=difference)


def _held(found: Sequence[FoundRanges | None], level: int) -> RangesHeld:
    rows = np.array([(*f.ranges[level], f.found) for f in found if f is not None]).reshape(-1, 4)
    return RangesHeld(**coverage(*rows.T)._asdict())


def _share(held: RangesHeld) -> float | None:
    return held.held / held.n if held.n else None


def _reliability(scored: Sequence[_Scored], outcome: Literal["healthy", "dead"]) -> list[ReliabilityRow]:
    if not scored:
        return []
    kind, column = (HEALTHY, 0) if outcome == "healthy" else (DEAD, 1)
    counts = np.concatenate([s.counts for _, s in scored])
    chance = np.concatenate([s.chances for _, s in scored])[:, column]
    box = np.repeat(np.arange(len(scored)), [len(s.counts) for _, s in scored])
    known = counts[:, kind] >= 0
    return [
        ReliabilityRow(
            outcome=outcome,
            chance_from=row.low,
            chance_to=row.high,
            boxes=row.boxes,
            plants=row.plants,
            forecast=row.forecast,
            observed=row.observed.mean,
            observed_low=row.observed.low,
            observed_high=row.observed.high,
        )
        for row in reliability(chance[known], counts[known, kind], counts[known, SENT], box[known], EDGES)
    ]


def _parts(scored: Sequence[_Scored], reference: Reference) -> list[TrackPart]:
    level = LEVELS.index(VERDICT_LEVEL)
    parts = []
    for by in ("service", "group", "season"):
        of_level: defaultdict[str, list[_Scored]] = defaultdict(list)
        for one in scored:
            of_level[_part(by, one, reference)].append(one)
        for name, members in sorted(of_level.items()):
            if len(members) >= PARTS_MINIMUM:
                parts.append(
                    TrackPart(
                        by=by,
                        level=name,
                        boxes=len(members),
                        log_score=_score(members, "log_score"),
                        brier=_score(members, "brier"),
                        counts_held=_held([s.count for _, s in members], level),
                    )
                )
    return parts


def _part(by: Literal["service", "group", "season"], one: _Scored, reference: Reference) -> str:
    if by == "service":
        return one.box.service
    if by == "season":
        return SEASONS[one.box.ship_date.month % 12 // 3]
    plants: Counter[str] = Counter()
    for name, sent in one.score.genera:
        genus = resolve_genus(name, reference)[0]
        plants[genus.group if genus else "unknown"] += sent
    return plants.most_common(1)[0][0]
