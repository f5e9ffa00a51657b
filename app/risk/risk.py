"""The chances of many lines of plants at once."""

from collections.abc import Sequence
from itertools import chain

import numpy as np
from numpy.typing import NDArray
from pydantic_core import to_json

from app.risk.cautions import RiskCautions
from app.risk.draw_rows import DrawRows, SingleArray, rows_of
from app.risk.exposure import Exposed, QueryExposures
from app.risk.lines import Lines
from app.risk.work_limit import check_work
from app.schemas import RiskRequest
from app.serving import Engine, evidence_as_json
from app.side_by_side import side_by_side
from model.exposure import beyond_warm
from model.plant import relative_log_days
from model.reference import CONSTANTS, HIGH, LOW

Array = NDArray[np.float64]

# Queries taken at once: their draws stay in the cache.
CHUNK = 64
CHANCES = (b"healthy", b"damaged", b"dead", b"healthy_two_weeks")
N_COLUMNS = 3 * len(CHANCES) + 1
# What stands before each value of a result: mean, low and high of the chances, equivalent days, evidence, cautions.
_BEFORE = (
    *chain(
        *(
            (b'%b"%b":{"mean":' % (b"}," if i else b"{", name), b',"low":', b',"high":')
            for i, name in enumerate(CHANCES)
        )
    ),
    b'},"equivalent_days":',
    b',"evidence":',
    b',"cautions":',
)


def answer_risk(request: RiskRequest, engine: Engine) -> bytes:
    """Return the answer, a `RiskAnswer`, as JSON bytes: results in the order asked.

    Written as text: ten thousand results as models would cost more than their computation.

    Raises
    ------
    TooMuchWork
        If the journeys of all queries take too long together.
    """
    queries, draws = request.queries, rows_of(engine)
    lines = Lines(queries, draws, engine.reference)
    check_work(queries, lines.changing, lines.plants)
    exposed: dict[int, Exposed] = {}
    if len(lines.changing):
        exposed = QueryExposures(queries, lines.changing, engine, draws).all(lines.plants)
    columns = np.empty((N_COLUMNS, len(queries)))
    parts = [slice(start, min(start + CHUNK, len(queries))) for start in range(0, len(queries), CHUNK)]
    side_by_side(lambda rows: _fill(columns, rows, lines, draws, exposed), parts)
    columns[3] = 1.0 - columns[0] - columns[6]
    said = RiskCautions(engine).of_all(queries, lines)
    clock = relative_log_days(np.log(columns[12]), lines.log_time_ratio)
    evidence = evidence_as_json(engine, lines.unique, lines.index, clock)
    return _as_json(engine.model_version, columns, evidence, said)


def _fill(columns: Array, rows: slice, lines: Lines, draws: DrawRows, exposed: dict[int, Exposed]) -> None:
    """Work out mean, low and high of the four chances, and the median of the equivalent days, of some lines.

    The log of the equivalent days is that of the days at the warm rate, and for lines that are not plain what lies
    beyond: so most lines need one exponential a draw, and those of the average over box effects.
    """
    warm_c = (lines.constant_c[rows] - CONSTANTS.reference_c).astype(np.float32)
    clock = relative_log_days(lines.log_days[rows], lines.log_time_ratio[rows]).astype(np.float32)
    own, beyond, dose = _beyond(rows, lines, draws, exposed)
    half = len(draws.ascending_log_q1) // 2
    median = warm_c * np.where(warm_c < 0.0, draws.ascending_log_q1[-1 - half], draws.ascending_log_q1[half])
    eta = lines.effects(rows)
    eta += warm_c[:, None] * draws.kappa_log_q1
    eta += clock[:, None] * draws.kappa
    if len(own):
        eta[own] += draws.kappa * beyond
        beyond += warm_c[own, None] * draws.log_q1
        beyond.sort(axis=1)
        median[own] = beyond[:, half]
    columns[12, rows] = np.exp(lines.log_days[rows] + median)
    healthy, dead = draws.chances(eta)
    kept = healthy * draws.kept.unchilled
    if len(own):
        kept[own] = healthy[own] * draws.kept(dose)
    damaged = np.subtract(np.float32(1.0), healthy)
    damaged -= dead
    for i, chances in enumerate((healthy, damaged, dead, kept)):
        columns[3 * i : 3 * i + 3, rows] = _interval(chances)


def _beyond(
    rows: slice, lines: Lines, draws: DrawRows, exposed: dict[int, Exposed]
) -> tuple[NDArray[np.intp], SingleArray, SingleArray]:
    """Return which of some lines are not plain, and of these log equivalent days beyond the warm rate, and dose.

    Shapes (lines,), (lines, draws), (lines, draws).
    """
    own = np.flatnonzero(~lines.plain[rows])
    at = rows.start + own
    beyond, dose = np.empty((2, len(own), len(draws.kappa)), dtype=np.float32)
    constant = np.flatnonzero(~np.isnan(lines.inside_c[at]))
    if len(constant):
        some = at[constant]
        beyond[constant], chill = beyond_warm(lines.inside_c[some], draws.log_q1, *lines.cold(some))
        dose[constant] = chill * np.exp(lines.log_days[some]).astype(np.float32)[:, None]
    if len(constant) < len(own):
        for i in np.flatnonzero(np.isnan(lines.inside_c[at])).tolist():
            beyond[i], dose[i] = exposed[int(at[i])]
    return own, beyond, dose


def _interval(chances: SingleArray) -> tuple[NDArray[np.floating], ...]:
    """Return mean, 10 % and 90 % quantile over the draws of each row; sorts the rows in place."""
    n = chances.shape[1]
    chances.sort(axis=1)
    return chances.sum(axis=1) / n, chances[:, round(LOW * (n - 1))], chances[:, round(HIGH * (n - 1))]


def _as_json(model_version: str, columns: Array, evidence: Sequence[bytes], cautions: Sequence[bytes]) -> bytes:
    """Write the answer; `columns` holds mean, low and high of the four chances and the equivalent days."""
    if not np.isfinite(columns).all():
        raise FloatingPointError("a chance is not finite")
    n, width = columns.shape[1], 2 * len(_BEFORE) + 1
    numbers = to_json(columns.T.ravel().tolist())[1:-1].split(b",")
    values = (*(numbers[i::N_COLUMNS] for i in range(N_COLUMNS)), evidence, cautions)
    # The pieces of all results in one list, to be joined at once.
    pieces = [b"},"] * (n * width)
    for i, (before, value) in enumerate(zip(_BEFORE, values, strict=True)):
        pieces[2 * i :: width] = [before] * n
        pieces[2 * i + 1 :: width] = value
    pieces[-1] = b"}"
    return b'{"model_version":%b,"results":[%b]}' % (to_json(model_version), b"".join(pieces))
