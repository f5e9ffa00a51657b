"""Kappa by the Gaussian at the mode of x, for all boxes and without some, theta as all have it."""

from typing import NamedTuple

import numpy as np
from threadpoolctl import threadpool_limits

from model.fit.hierarchy import FIRST_EFFECT, KAPPA, Hierarchy
from model.fit.inference import Posterior
from model.fit.inner_mode import InnerMode
from model.fit.observations import Observations
from model.fit.target import Target
from model.reference import Reference


class KappaAtMode(NamedTuple):
    """Mean and variance of kappa's Gaussian, not cut off at 0."""

    mean: float
    variance: float


def kappa_at_mode(posterior: Posterior) -> KappaAtMode:
    """Return kappa as all boxes say."""
    return KappaAtMode(float(posterior.mode_x[KAPPA]), float(posterior.covariance[KAPPA, KAPPA]))


def kappa_given(observations: Observations, posterior: Posterior, reference: Reference) -> KappaAtMode:
    """Return kappa as some boxes say, with scales, clock and h0 at the mode that all boxes have.

    Raises
    ------
    ConvergenceError
        When Newton's steps do not settle.
    """
    theta, hierarchy = posterior.mode_theta, Hierarchy(observations, reference)
    start = hierarchy.inner(theta).full_mean()
    start[:FIRST_EFFECT] = posterior.mode_x[:FIRST_EFFECT]
    with threadpool_limits(1):
        inner = InnerMode(Target(observations, hierarchy)).newton(theta, start)
    return KappaAtMode(float(inner.x[KAPPA]), float(np.linalg.inv(inner.precision)[KAPPA, KAPPA]))
