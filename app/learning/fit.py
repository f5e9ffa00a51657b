"""Recorded lines -> a fitted model as an artefact. Only the process of a refit imports it."""

import hashlib
import json
from collections.abc import Collection, Mapping
from dataclasses import replace
from datetime import datetime
from typing import NamedTuple
from zlib import crc32

import numpy as np
from numpy.typing import NDArray
from scipy import special

from app.learning.criticism import criticism
from app.learning.falls import seller_falls
from app.learning.recorded_rechecks import RecheckedLines, rechecked_lines
from app.learning.recorded_times import RecordedTimes
from app.recorded import RecordedLines, recorded_lines
from app.serving import (
    PRIOR_SEED,
    STORED_DRAWS,
    DelayCheck,
    FitRecord,
    FittedModel,
    LearnedTimes,
    rules_draws,
    to_artefact,
)
from app.store import ArrivedBoxes, LoggerColumns, ShipmentColumns
from model.fit import (
    ConvergenceError,
    KappaAtMode,
    Observations,
    Observed,
    Posterior,
    count_boxes,
    fit_boxes,
    fit_variance,
    kappa_at_mode,
    kappa_given,
    observe,
)
from model.predict import PosteriorDraws, learn_late_loss
from model.reference import QUANTILES, Reference

LEAST_BOXES_LEFT = 5
# Of fits beside that of all boxes.
BESIDE_DRAWS = 2048


class Recorded(NamedTuple):
    """Everything of a ledger that a fit reads; `observed` are the lines as the model sees them.

    `learned` are the times in transit by these boxes: the lines' journeys are of these times too. `ship_date`
    (shipments,) is that of each shipment.
    """

    lines: RecordedLines
    observed: Observed
    rechecks: RecheckedLines
    times: RecordedTimes
    learned: LearnedTimes
    ship_date: NDArray[np.datetime64]

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
        doubted: Collection[int] = (),
    ) -> "Recorded":
        """Return it as of now: boxes on their way count with the days gone by.

        The times of boxes that are `doubted`, by number, teach no times in transit; their counts are fitted, beside the
        chance that a record is wrong.
        """
        times = RecordedTimes(arrived.shipments, on_the_way, reference, now=now, doubted=doubted)
        learned = times.learn()
        lines = recorded_lines(arrived, logger, reference, plans, learned)
        observed = observe(lines.lines, lines.counts, reference)
        return cls(lines, observed, rechecked_lines(arrived, lines), times, learned, arrived.shipments.ship_date)

    @property
    def shipment_of_box(self) -> NDArray[np.int64]:
        """Index of the shipment of each observed box, (boxes,)."""
        return shipment_of_box(self.observed, self.lines.shipment)

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
    observations = recorded.observed.observations
    fitted = fit_boxes(observations, reference, n_draws=STORED_DRAWS, n_weighed=n_weighed, seed=PRIOR_SEED)
    variance = fit_variance(fitted.posterior, fitted.hierarchy, reference)
    diagnostics = {name: _plain(value) for name, value in fitted.diagnostics.items()}
    diagnostics |= _times_counted(recorded.times) | {"late_loss_boxes": recorded.rechecks.n_boxes}

    def fit_some(some: Observations) -> PosteriorDraws:
        return draws_beside(some, reference, n_weighed)

    shipped = recorded.ship_date[recorded.shipment_of_box]
    record = FitRecord(
        fitted_at,
        recorded.fingerprint(),
        len(observations),
        diagnostics,
        n_rechecked_boxes=recorded.rechecks.n_boxes,
        n_rechecked_plants=recorded.rechecks.n_plants,
        delay_check=_delay_check(recorded, fitted.posterior, reference),
        falls=seller_falls(recorded.observed, shipped, fitted.draws, fit=fit_some),
        criticism=criticism(recorded.observed, shipped, fitted, reference),
    )
    draws = with_late_loss(fitted.draws, recorded.rechecks)
    return to_artefact(draws, count_boxes(observations), variance, recorded.learned, record)


def with_times(fitted: FittedModel, recorded: Recorded, times: RecordedTimes) -> tuple[FittedModel, bytes]:
    """Return a fit with other times in transit, learned from fewer or more of the same boxes.

    The journeys of the recorded boxes stay those of the times before: a box's days are on record, and only where they
    went is drawn.

    Raises
    ------
    ArtefactError
        If a result is not finite.
    """
    again = recorded._replace(times=times, learned=times.learn())
    manifest = fitted.manifest
    record = FitRecord(
        manifest.fitted_at,
        again.fingerprint(),
        manifest.n_lines,
        dict(manifest.diagnostics) | _times_counted(times),
        n_rechecked_boxes=manifest.n_rechecked_boxes,
        n_rechecked_plants=manifest.n_rechecked_plants,
        delay_check=manifest.delay_check,
        falls=fitted.falls,
        criticism=manifest.criticism,
    )
    return to_artefact(fitted.draws, fitted.counts, fitted.variance, again.learned, record)


def draws_beside(observations: Observations, reference: Reference, n_weighed: int | None) -> PosteriorDraws:
    """Return draws of a fit to some of the boxes, beside that of all: fewer, and the rules of thumb's without boxes.

    Raises
    ------
    ConvergenceError
        If it does not settle.
    """
    if not len(observations):
        return rules_draws(reference)
    few = min(n_weighed or BESIDE_DRAWS, BESIDE_DRAWS)
    return fit_boxes(observations, reference, n_draws=BESIDE_DRAWS, n_weighed=few, seed=PRIOR_SEED).draws


def _times_counted(times: RecordedTimes) -> dict[str, float | int | bool]:
    return {
        "transit_boxes": times.n_arrived,
        "transit_boxes_on_the_way": times.n_on_the_way,
        "transit_boxes_left_out": times.n_left_out,
    }


def _delay_check(recorded: Recorded, posterior: Posterior, reference: Reference) -> DelayCheck | None:
    """Return kappa with and without the delayed boxes: whether delay stands for more than time.

    Both by the Gaussian at the mode, with scales, clock and h0 as all boxes have them; None where no box was delayed,
    or nearly all.
    """
    late = recorded.times.delayed[recorded.shipment_of_box]
    n_late, prompt = int(late.sum()), np.flatnonzero(~late)
    if not n_late or len(prompt) < LEAST_BOXES_LEFT:
        return None
    try:
        without = kappa_given(recorded.observed.of_boxes(prompt).observations, posterior, reference)
    except ConvergenceError:
        return None  # the fit of all boxes stands; this one is beside it
    return DelayCheck(
        n_left_out=n_late,
        kappa=_kappa_quantiles(kappa_at_mode(posterior)),
        without=_kappa_quantiles(without),
    )


def shipment_of_box(observed: Observed, shipment: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the shipment of each observed box, (boxes,), from that of each row of the table."""
    of_box = np.empty(observed.observations.n_boxes, dtype=np.int64)
    of_box[observed.observations.box] = shipment[observed.order]
    return of_box


def _kappa_quantiles(kappa: KappaAtMode) -> tuple[float, float, float]:
    """Return the quantiles of kappa's Gaussian, cut off at 0."""
    mean, sd = kappa.mean, np.sqrt(kappa.variance)
    # Counted from above, where a cut far below leaves whole numbers of digits.
    above = special.ndtr(mean / sd) * (1.0 - np.array(QUANTILES))
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
