"""Records that the other boxes, the lane's journeys and its times make implausible, and the slip that explains each."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from app.doubts.count_evidence import DEAD, HEALTHY, CountEvidence, log_any, swapped
from app.doubts.journeys import LikelyJourneys
from app.doubts.slips import (
    ARRIVAL,
    AS_RECORDED,
    FAHRENHEIT,
    ODD,
    SWAPPED,
    TEMPERATURE,
    UNKNOWN_C,
    Slip,
    possible_slips,
)
from app.doubts.variants import undone, variants
from app.store import ArrivedBoxes, LoggerColumns
from model.predict import PosteriorDraws
from model.reference import CONSTANTS
from model.screening import log_uniform_days, log_uniform_temperature, slip_chances

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

# A slip that temperature and days make this much less likely than the record is not looked at further.
MOST_BEHIND = 7.0
COUNTS = "healthy"


class CheckedRecords(NamedTuple):
    """The ledger's arrived boxes with what else is recorded of them, and which of them the draws were fitted to.

    `seen` is (shipments,); `plans` as `read_plans` gives them.
    """

    ledger: ArrivedBoxes
    logger: LoggerColumns
    plans: Mapping[int, tuple[str, str]]
    seen: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Doubt:
    """A record that is likelier wrong than right.

    Attributes
    ----------
    shipment : int
        Index in the ledger.
    line : int or None
        Index in the ledger's lines; None: the box as a whole.
    code, column : str
    chance : float
        That the record is wrong in this way.
    slip : Slip or None
        The likeliest slip in a date or temperature.
    """

    shipment: int
    line: int | None
    code: str
    column: str
    chance: float
    slip: Slip | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Screening:
    """Doubts, and the leave-one-box-out log predictive probabilities of counts.

    `box` is (boxes,) for the boxes looked at, `index` their place in the ledger; `line` is (lines,) for their lines,
    `line_index` their place. `pareto_k`, (boxes,), tells how far the weights can be trusted: above 0.7 roughly. `lost`,
    (boxes,), is the chance that the box was lost for reasons that no clock knows.
    """

    doubts: list[Doubt]
    index: Indices
    box: Array
    line_index: Indices
    line: Array
    pareto_k: Array
    lost: Array


@dataclass(slots=True)
class _Hypothesis:
    """One way in which a box's record came about: log prior and log density of temperature and days, then of counts."""

    box: int
    code: str
    column: str
    log_weight: float
    slip: Slip | None = None
    line: int | None = None
    rows: Indices | None = field(default=None)


def screen(recorded: CheckedRecords, boxes: Indices, draws: PosteriorDraws, journeys: LikelyJourneys) -> Screening:
    """Look at some boxes of the ledger.

    Parameters
    ----------
    recorded : CheckedRecords
    boxes : (boxes,)
        Ascending indices of shipments with lines.
    draws : PosteriorDraws
        Fitted to the boxes that are `seen`, or the rules of thumb.
    journeys : LikelyJourneys
    """
    ledger, reference = recorded.ledger, draws.reference
    source = (ledger, recorded.logger, recorded.plans)
    as_recorded = variants(*source, boxes, [None] * len(boxes), reference)
    evidence = CountEvidence.of(as_recorded, draws, recorded.seen[boxes])
    own, counts = as_recorded.table.shipment.astype(np.intp), as_recorded.table.counts
    rows_of = np.split(np.arange(len(own)), np.searchsorted(own, np.arange(1, len(boxes))))

    stands = [_stands(journeys, ledger, int(i)) for i in boxes]
    logged = ~np.isnan(ledger.shipments.inside_temp_c[boxes])
    asked = [(b, slip, log_weight) for b in range(len(boxes))
             for slip, log_weight in _likely(journeys, ledger, int(boxes[b]), stands[b])]  # fmt: skip
    found: list[list[_Hypothesis]] = [[] for _ in boxes]
    if asked:
        of_slip = np.array([b for b, _, _ in asked])
        changed = variants(*source, boxes[of_slip], [slip for _, slip, _ in asked], reference)
        by_counts = evidence.log_predictive(
            changed.table.lines, changed.table.counts, changed.table.shipment.astype(np.intp), of_slip
        )
        for (b, slip, log_weight), log_p in zip(asked, by_counts, strict=True):
            code = ODD if slip.celsius == UNKNOWN_C else slip.code
            found[b].append(_Hypothesis(b, code, slip.column, log_weight + float(log_p), slip))
    for b, hypotheses in enumerate(_of_counts(as_recorded.table.lines, counts, rows_of, evidence)):
        found[b] += [_plus(hypothesis, stands[b]) for hypothesis in hypotheses]
        other = float(np.log(CONSTANTS.slip_other_share))
        any_counts = log_any(counts[rows_of[b]])
        found[b].append(_Hypothesis(b, ODD, COUNTS, other + stands[b].total + any_counts))
        any_days = other + stands[b].temperature + log_uniform_days() + any_counts
        found[b].append(_Hypothesis(b, ODD, ARRIVAL, any_days))

    doubts = []
    for b, hypotheses in enumerate(found):
        doubt = _named(hypotheses, stands[b].total + float(evidence.box[b]), int(boxes[b]), as_recorded.line)
        if doubt is not None:
            doubts.append(doubt)
    doubts = _whole_files(doubts, journeys, ledger, boxes[logged])
    pareto_k = evidence.left_out.pareto_k
    return Screening(doubts, boxes, evidence.box, as_recorded.line, evidence.line, pareto_k, evidence.lost)


class _Stands(NamedTuple):
    """Log densities of a box's temperature and days as recorded."""

    temperature: float
    days: float

    @property
    def total(self) -> float:
        return self.temperature + self.days


def _stands(journeys: LikelyJourneys, ledger: ArrivedBoxes, i: int) -> _Stands:
    shipments = ledger.shipments
    logged_c = float(shipments.inside_temp_c[i])
    temperature = 0.0 if np.isnan(logged_c) else journeys.log_temperature(shipments, i, logged_c)
    return _Stands(temperature, journeys.log_days(shipments, i, int(shipments.number[i])))


def _likely(journeys: LikelyJourneys, ledger: ArrivedBoxes, i: int, stands: _Stands) -> list[tuple[Slip, float]]:
    """Return the slips that temperature and days do not rule out, with log prior and log density of both."""
    shipments, likely = ledger.shipments, []
    logged_c, number = float(shipments.inside_temp_c[i]), int(shipments.number[i])
    for slip in possible_slips(shipments, i):
        log_weight, days = slip.log_prior, stands.days
        of, at = shipments, i
        if slip.moves_dates:
            of, at = undone(shipments, np.array([i]), [slip]), 0
            days = journeys.log_days(of, at, number)
        log_weight += days
        if not np.isnan(logged_c) and (slip.moves_dates or slip.celsius != AS_RECORDED):
            log_weight += journeys.log_temperature(of, at, slip.celsius.of(logged_c)) + np.log(slip.celsius.scale)
        elif not np.isnan(logged_c):
            log_weight += stands.temperature
        if log_weight - stands.total > -MOST_BEHIND:
            likely.append((slip, float(log_weight)))
    if not np.isnan(logged_c):
        log_weight = float(np.log(CONSTANTS.slip_other_share)) + log_uniform_temperature() + stands.days
        if log_weight - stands.total > -MOST_BEHIND:
            likely.append((Slip(ODD, TEMPERATURE, log_weight, UNKNOWN_C), log_weight))
    return likely


def _of_counts(
    lines: NDArray[np.void], counts: Array, rows_of: Sequence[Indices], evidence: CountEvidence
) -> list[list[_Hypothesis]]:
    """Return the hypotheses about the counts of each box, their log weights with prior and counts alone.

    A swap is looked at where more are dead than healthy, or where the counts are less likely than any others.
    """
    found: list[list[_Hypothesis]] = [[] for _ in rows_of]
    asked: list[tuple[_Hypothesis, Indices, Array]] = []
    for b, rows in enumerate(rows_of):
        own = counts[rows]
        odd = evidence.box[b] < log_any(own)
        if odd or _more_dead(own):
            log_prior = float(np.log(CONSTANTS.slip_swapped_share))
            asked.append((_Hypothesis(b, SWAPPED, COUNTS, log_prior), rows, swapped(own)))
        if len(rows) == 1:
            continue
        for k, row in enumerate(rows.tolist()):
            this = own[k : k + 1]
            if evidence.line[row] >= log_any(this) and not _more_dead(this):
                continue
            log_prior = float(np.log(CONSTANTS.slip_swapped_line_share))
            one = own.copy()
            one[k] = swapped(this)[0]
            asked.append((_Hypothesis(b, SWAPPED, COUNTS, log_prior, line=row), rows, one))
            log_prior = float(np.log(CONSTANTS.slip_other_share)) + log_any(this)
            rest = np.delete(np.arange(len(rows)), k)
            asked.append((_Hypothesis(b, ODD, COUNTS, log_prior, line=row), rows[rest], own[rest]))
    if not asked:
        return found
    variant = np.repeat(np.arange(len(asked)), [len(rows) for _, rows, _ in asked])
    log_p = evidence.log_predictive(
        lines[np.concatenate([rows for _, rows, _ in asked])],
        np.concatenate([own for _, _, own in asked]),
        variant,
        np.array([hypothesis.box for hypothesis, _, _ in asked]),
    )
    for (hypothesis, _, _), own in zip(asked, log_p, strict=True):
        hypothesis.log_weight += float(own)
        found[hypothesis.box].append(hypothesis)
    return found


def _more_dead(counts: Array) -> bool:
    healthy, dead = np.nan_to_num(counts[:, HEALTHY]).sum(), np.nan_to_num(counts[:, DEAD]).sum()
    return bool(dead > healthy)


def _plus(hypothesis: _Hypothesis, stands: _Stands) -> _Hypothesis:
    hypothesis.log_weight += stands.total
    return hypothesis


def _named(hypotheses: list[_Hypothesis], stands: float, shipment: int, line: Indices) -> Doubt | None:
    """Return the doubt about a box, if a slip is likelier than `CONSTANTS.slip_named_chance`."""
    chances = slip_chances(np.array([stands, *(hypothesis.log_weight for hypothesis in hypotheses)]))[1:]
    if chances.sum() < CONSTANTS.slip_named_chance:
        return None
    by_code: defaultdict[str, float] = defaultdict(float)
    for hypothesis, chance in zip(hypotheses, chances, strict=True):
        by_code[hypothesis.code] += float(chance)
    code = max(by_code, key=lambda name: by_code[name])
    _, best = max(
        ((chance, k) for k, chance in enumerate(chances) if hypotheses[k].code == code),
    )
    likeliest = hypotheses[best]
    row = None if likeliest.line is None else int(line[likeliest.line])
    return Doubt(shipment, row, code, likeliest.column, by_code[code], likeliest.slip)


def _whole_files(doubts: list[Doubt], journeys: LikelyJourneys, ledger: ArrivedBoxes, logged: Indices) -> list[Doubt]:
    """Return the doubts with all logged boxes of a file in it, where the whole column seems to be in °F.

    Boxes that came into the ledger with one change of it are a file.
    """
    shipments = ledger.shipments
    files: defaultdict[int, list[int]] = defaultdict(list)
    for i in logged.tolist():
        files[int(shipments.arrived_revision[i])].append(i)
    for members in files.values():
        if len(members) < CONSTANTS.slip_least_logged:
            continue
        gain = float(np.log(CONSTANTS.slip_fahrenheit_file_share))
        slips = {i: next(s for s in possible_slips(shipments, i) if s.code == FAHRENHEIT) for i in members}
        for i, slip in slips.items():
            logged_c = float(shipments.inside_temp_c[i])
            as_fahrenheit = journeys.log_temperature(shipments, i, slip.celsius.of(logged_c))
            gain += as_fahrenheit + np.log(slip.celsius.scale) - journeys.log_temperature(shipments, i, logged_c)
        chance = float(special.expit(gain))
        if chance >= CONSTANTS.slip_named_chance:
            already = {doubt.shipment for doubt in doubts if doubt.code == FAHRENHEIT}
            doubts = [doubt for doubt in doubts if doubt.shipment not in slips or doubt.shipment in already]
            doubts += [Doubt(i, None, FAHRENHEIT, TEMPERATURE, chance, slip) for i, slip in slips.items()
                       if i not in already]  # fmt: skip
    return sorted(doubts, key=lambda doubt: doubt.shipment)
