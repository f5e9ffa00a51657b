"""Student's t as a normal whose precision varies: what is drawn of those precisions beside theta and x.

A deviation from a tabulated time ratio is Student's t. With a Gaussian in its place nearly every draw would meet the
tails of one genus of many, and few draws would keep their weight. But x | w ~ N(0, s^2 / w) with w ~ gamma(degrees / 2,
degrees / 2) is that Student's t of scale s (Andrews & Mallows 1974, JRSS B 36:99): given w all is Gaussian. Each w is
drawn given theta from the gamma that has the mean and variance which w has by what the data say of its effect alone;
draws are weighed by (theta, w, x).
"""

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from model.fit.hierarchy import InnerPrior
from model.plant import DEGREES, STUDENT_SCALE

Array = NDArray[np.float64]

# Steps of log w over which the mean and variance are taken.
LOG_STEPS = np.linspace(-6.0, 2.75, 26)
# Known effects leave (degrees + 1) / 2 as the shape, unknown ones degrees / 2.
LARGEST_SHAPE = DEGREES + 1.0
# Least precision that the data are taken to add to an effect's, as a share of the prior's.
LEAST_SAID = 1e-6


class Said(NamedTuple):
    """What the data say of each Student effect alone, whatever its prior: estimate and variance, (students,) each."""

    estimate: Array
    variance: Array

    @classmethod
    def of(cls, mean: Array, variance: Array, prior_precision: Array) -> "Said":
        """Take the prior's precision out of posterior means and variances, (students,) each."""
        precision = np.maximum(1.0 / variance - prior_precision, LEAST_SAID * prior_precision)
        return cls(mean / variance / precision, 1.0 / precision)


class Mixing(NamedTuple):
    """Precisions w of the Student effects, (thetas, students), with their log densities, of the proposal and prior."""

    w: Array
    log_q: Array
    log_prior: Array

    @classmethod
    def joined(cls, parts: Iterable["Mixing"]) -> "Mixing":
        """Return those of several runs of thetas as one."""
        return cls(*(np.concatenate(arrays) for arrays in zip(*parts, strict=True)))

    def take(self, rows: NDArray[np.intp] | NDArray[np.bool_]) -> "Mixing":
        """Return those of some thetas."""
        return Mixing(*(array[rows] for array in self))

    def put(self, rows: NDArray[np.bool_], other: "Mixing") -> "Mixing":
        """Return these with those of another in the place of some thetas."""
        arrays = [array.copy() for array in self]
        for array, new in zip(arrays, other, strict=True):
            array[rows] = new
        return Mixing(*arrays)


class MixingLaw(NamedTuple):
    """Gamma laws of w given each of some thetas: shape and rate, (thetas, students) each."""

    shape: Array
    rate: Array

    @classmethod
    def of(cls, said: Said, prior: InnerPrior) -> "MixingLaw":
        """Return the laws with the mean and variance that w has given what the data say."""
        square = (STUDENT_SCALE * prior.sds[:, prior.student, None]) ** 2 / np.exp(LOG_STEPS)
        total = said.variance[:, None] + square
        log_weight = -0.5 * (np.log(total) + said.estimate[:, None] ** 2 / total)
        log_weight += 0.5 * DEGREES * (LOG_STEPS - np.exp(LOG_STEPS))
        weight = special.softmax(log_weight, axis=-1)
        mean = weight @ np.exp(LOG_STEPS)
        # Where counts contradict each other by thousands of nats all weight is at the end of the steps.
        variance = np.maximum(weight @ np.exp(2.0 * LOG_STEPS) - mean**2, mean**2 / LARGEST_SHAPE)
        return cls(mean**2 / variance, mean / variance)

    def draw(self, *, rng: np.random.Generator) -> Mixing:
        """Return one w of each."""
        return self.described(rng.gamma(self.shape) / self.rate)

    def mean(self) -> Mixing:
        """Return the means."""
        return self.described(self.shape / self.rate)

    def described(self, w: Array) -> Mixing:
        """Return given w, (thetas, students), with their densities."""
        half = np.float64(0.5 * DEGREES)
        return Mixing(w, _log_gamma(w, self.shape, self.rate), _log_gamma(w, half, half))


def given_mixing(prior: InnerPrior, mixing: Mixing) -> InnerPrior:
    """Return the prior of x given theta and w: Gaussian, but for delta."""
    sds = prior.sds.copy()
    sds[:, prior.student] *= STUDENT_SCALE / np.sqrt(mixing.w)
    return prior.gaussian(sds)


def _log_gamma(w: Array, shape: Array | np.float64, rate: Array | np.float64) -> Array:
    density: Array = shape * np.log(rate) - special.gammaln(shape) + (shape - 1.0) * np.log(w) - rate * w
    return density
