"""Recorded lines -> a fitted model as an artefact. Only the process of a refit imports it: it needs scikit-learn."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import NamedTuple
from zlib import crc32

import numpy as np
from scipy import special
from threadpoolctl import threadpool_limits

from app.learning.recorded_boxes import RecordedLines, recorded_lines
from app.learning.recorded_rechecks import RecheckedLines, rechecked_lines
from app.learning.recorded_times import RecordedTimes
from app.serving import PRIOR_SEED, STORED_DRAWS, DelayCheck, FitRecord, FittedModel, to_artefact
from app.store import ArrivedBoxes, LoggerColumns, ShipmentColumns
from model.fit import (
    ALPHA,
    DELTA,
    FIRST_EFFECT,
    KAPPA,
    ConvergenceError,
    Hierarchy,
    InnerMode,
    Target,
    TransitSurvival,
    count_boxes,
    observe,
)
from model.predict import FitVariance, PosteriorDraws, learn_late_loss
from model.reference import Reference

LEAST_BOXES_LEFT = 5
SUMMARY = np.array([0.1, 0.5, 0.9])


class Recorded(NamedTuple):
    """Everything of a ledger that a fit reads."""

    lines: RecordedLines
    rechecks: RecheckedLines
    times: RecordedTimes

    @classmethod
    def of(
        cls,
        arrived: ArrivedBoxes,
        on_the_way: ShipmentColumns,
        logger: LoggerColumns,
        plans: Mapping[int, tuple[str, str]],
        reference: Reference,
        *,
        now: datetime,
    ) -> "Recorded":
        """Return it as of now: boxes on their way count with the days gone by."""
        lines = recorded_lines(arrived, logger, reference, plans)
        times = RecordedTimes(arrived.shipments, on_the_way, reference, now=now)
        return cls(lines, rechecked_lines(arrived, lines), times)

    def fingerprint(self) -> str:
        """Return a digest of it: the same data, the same digest."""
        digest = hashlib.sha256(fingerprint(self.lines).encode())
        for column in self.rechecks:
            digest.update(column.tobytes())
        for part in self.times.parts():
            digest.update(part)
        return digest.hexdigest()


def fit_model(
    recorded: Recorded, reference: Reference, *, fitted_at: datetime, n_weighed: int | None = None
) -> tuple[FittedModel, bytes]:
    """Fit the model to recorded boxes and return it as an artefact.

    Raises
    ------
    ConvergenceError, CountError, ArtefactError
        If the fit does not settle, counts do not add up, or a result is not finite.
    """
    table = recorded.lines
    estimator = TransitSurvival(reference, n_draws=STORED_DRAWS, n_weighed=n_weighed, random_state=PRIOR_SEED)
    estimator.fit(table.lines, table.counts)
    posterior, hierarchy = estimator.posterior_, estimator.hierarchy_
    observations, _ = observe(table.lines, table.counts, reference)
    prior = hierarchy.inner(posterior.mode_theta)
    common = np.linalg.inv(prior.precision[ALPHA:DELTA, ALPHA:DELTA])
    effects = hierarchy.effect_sds(posterior.mode_theta)[FIRST_EFFECT:] ** 2
    variance = FitVariance(
        levels=hierarchy.levels,
        prior_variance=np.concatenate([np.diag(common), effects]),
        prior_covariance=float(common[ALPHA, KAPPA]),
        posterior=np.delete(np.delete(posterior.covariance, DELTA, 0), DELTA, 1).astype(np.float32),
        scales=hierarchy.scales(posterior.mode_theta),
        reference=reference,
    )
    diagnostics = {name: _plain(value) for name, value in estimator.diagnostics_.items()}
    diagnostics["transit_boxes"] = recorded.times.n_arrived
    diagnostics["transit_boxes_on_the_way"] = recorded.times.n_on_the_way
    diagnostics["late_loss_boxes"] = recorded.rechecks.n_boxes
    record = FitRecord(
        fitted_at,
        recorded.fingerprint(),
        estimator.n_lines_,
        diagnostics,
        n_rechecked_boxes=recorded.rechecks.n_boxes,
        n_rechecked_plants=recorded.rechecks.n_plants,
        delay_check=_delay_check(recorded, estimator, reference),
    )
    draws = with_late_loss(estimator.draws_, recorded.rechecks)
    return to_artefact(draws, count_boxes(observations), variance, recorded.times.learn(), record)


def _delay_check(recorded: Recorded, estimator: TransitSurvival, reference: Reference) -> DelayCheck | None:
    """Return kappa with and without the delayed boxes: whether delay stands for more than time.

    Both by the Gaussian at the mode, with scales, clock and h0 as all boxes have them; None where no box was delayed,
    or nearly all.
    """
    table, late = recorded.lines, recorded.times.delayed
    late = late[table.shipment]
    n_late, n_prompt = (len(np.unique(table.shipment[rows])) for rows in (late, ~late))
    if not n_late or n_prompt < LEAST_BOXES_LEFT:
        return None
    posterior = estimator.posterior_
    observations, _ = observe(table.lines[~late], table.counts[~late], reference)
    hierarchy = Hierarchy(observations, reference)
    start = hierarchy.inner(posterior.mode_theta).mean.copy()
    start[:FIRST_EFFECT] = posterior.mode_x[:FIRST_EFFECT]
    try:
        with threadpool_limits(1):
            without = InnerMode(Target(observations, hierarchy)).newton(posterior.mode_theta, start)
    except ConvergenceError:
        return None  # the fit of all boxes stands; this one is beside it
    return DelayCheck(
        n_left_out=n_late,
        kappa=_kappa_quantiles(posterior.mode_x[KAPPA], posterior.covariance[KAPPA, KAPPA]),
        without=_kappa_quantiles(without.x[KAPPA], np.linalg.inv(without.precision)[KAPPA, KAPPA]),
    )


def _kappa_quantiles(mean: float, variance: float) -> tuple[float, float, float]:
    """Return the quantiles of kappa's Gaussian, cut off at 0."""
    sd = np.sqrt(variance)
    # Counted from above, where a cut far below leaves whole numbers of digits.
    above = special.ndtr(mean / sd) * (1.0 - SUMMARY)
    low, middle, high = (float(mean - sd * special.ndtri(share)) for share in above)
    return low, middle, high


def with_late_loss(draws: PosteriorDraws, rechecks: RecheckedLines) -> PosteriorDraws:
    """Return the draws with late loss learned from rechecks, its chill dose at the median rate; as they are without."""
    if not len(rechecks.box):
        return draws
    seen = rechecks.at(float(np.median(draws.parameters.chill_rate)))
    rng = np.random.default_rng([draws.key, crc32(b"late loss")])
    return replace(draws, late_loss=learn_late_loss(draws.reference.late_loss_rules, seen, draws.n_draws, rng=rng))


def fingerprint(table: RecordedLines) -> str:
    """Return a digest of the lines of arrived boxes."""
    digest = hashlib.sha256()
    names = table.lines.dtype.names or ()
    for name in names:
        column = table.lines[name]
        texts = column.dtype == object
        digest.update(json.dumps(column.tolist()).encode() if texts else np.ascontiguousarray(column).tobytes())
    digest.update(table.counts.tobytes())
    return digest.hexdigest()


def _plain(value: object) -> float | int | bool:
    """Return a number of numpy's as one of Python's."""
    plain = value.item() if isinstance(value, np.generic) else value
    assert isinstance(plain, float | int)  # noqa: S101 - diagnostics are numbers
    return plain
