"""Recorded lines -> a fitted model as an artefact. Only the process of a refit imports it: it needs scikit-learn."""

import hashlib
import json
from datetime import datetime

import numpy as np

from app.artifacts import FitRecord, FittedModel, to_artefact
from app.engine import PRIOR_SEED, STORED_DRAWS
from app.services.recorded_boxes import RecordedLines
from model.evidence import BoxCounts, FitVariance
from model.hierarchy import ALPHA, DELTA, FIRST_EFFECT, KAPPA
from model.lines import observe
from model.reference import Reference
from model.survival import TransitSurvival


def fit_model(
    table: RecordedLines, reference: Reference, *, fitted_at: datetime, n_weighed: int | None = None
) -> tuple[FittedModel, bytes]:
    """Fit the model to recorded lines and return it as an artefact.

    Raises
    ------
    ConvergenceError, CountError, ArtefactError
        If the fit does not settle, counts do not add up, or a result is not finite.
    """
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
    record = FitRecord(fitted_at, fingerprint(table), estimator.n_lines_, diagnostics)
    return to_artefact(estimator.draws_, BoxCounts.of(observations), variance, record)


def fingerprint(table: RecordedLines) -> str:
    """Return a digest of everything that a fit reads: the same data, the same digest."""
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
