"""x given theta by Gaussians, one a theta, cut off where kappa is not above 0; and mixtures of such.

A ledger with hundreds of effects spends most of a fit on Cholesky factors of their precisions. So each is made where it
stays, is never inverted, and goes on with its theta wherever that goes.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, special

from model.exposure import Indices
from model.fit.hierarchy import ALPHA, DELTA, FIRST_EFFECT, KAPPA, InnerPrior
from model.fit.positive_definite import lower_factor

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

TINY = np.finfo(float).tiny


def ordered(p: int) -> Indices:
    """Return the inner parameters, effects first and kappa last: a later one takes all earlier ones along."""
    return np.append(np.arange(FIRST_EFFECT, p), [DELTA, ALPHA, KAPPA])


@dataclass(frozen=True, eq=False)
class Conditionals:
    """x given each of some thetas, delta on its log scale.

    Attributes
    ----------
    centre : (thetas, p)
        Of the Gaussian that is cut off.
    factors : list of (p, p), one a theta
        Lower Cholesky factors of the precision, in the order of `ordered`.
    prior : InnerPrior
        That of the thetas.
    """

    centre: Array
    factors: list[Array]
    prior: InnerPrior

    @classmethod
    def of(cls, data: Array, pull: Array, prior: InnerPrior) -> "Conditionals":
        """Take the data's precision (p, p), and with the prior's for each theta that precision x centre, (thetas, p).

        All effects are Gaussian in the prior; that of log delta is a parabola.
        """
        order = ordered(len(data))
        data = np.ascontiguousarray(data[np.ix_(order, order)])
        effects = np.arange(len(data) - FIRST_EFFECT)
        weights = prior.sds[:, FIRST_EFFECT:] ** -2.0
        states = slice(prior.drift.start - FIRST_EFFECT, prior.drift.stop - FIRST_EFFECT)
        own = prior.sds[:, prior.drift]

        def precision(i: int) -> Array:
            matrix = data.copy()
            drift = data[states, states] + prior.drift_precision / (own[i, :, None] * own[i, None, :])
            matrix[effects, effects] += weights[i]
            matrix[states, states] = drift
            matrix[-3, -3] += prior.delta_shape[i]
            matrix[-2:, -2:] += prior.common[i]
            return matrix

        factors = [_factor(precision, i) for i in range(len(pull))]
        given = cls(np.empty_like(pull), factors, prior)
        given.centre[:] = given.covaried(pull[..., None])[..., 0]
        return given

    def covaried(self, columns: Array) -> Array:
        """Return covariance x columns, (thetas, p, n); columns are (thetas, p, n)."""
        order = ordered(columns.shape[-2])
        solved = np.empty_like(columns)
        for i, factor in enumerate(self.factors):
            solved[i, order] = linalg.lapack.dpotrs(factor.T, columns[i, order], lower=0)[0]
        return solved

    def take(self, rows: Indices | Mask) -> "Conditionals":
        """Return those of some of the thetas."""
        kept = np.arange(len(self.factors))[rows]
        return Conditionals(self.centre[rows], [self.factors[i] for i in kept], self.prior.of_thetas(rows))

    def put(self, rows: Mask, other: "Conditionals") -> "Conditionals":
        """Return these with those of another in the place of some."""
        centre, factors = self.centre.copy(), list(self.factors)
        centre[rows] = other.centre
        for i, factor in zip(np.flatnonzero(rows), other.factors, strict=True):
            factors[i] = factor
        return Conditionals(centre, factors, self.prior.put(rows, other.prior))

    def steps(self, normals: Array) -> Array:
        """Return steps from the centre, (thetas, n, p), of standard normals in the order of `ordered`."""
        order = ordered(normals.shape[-1])
        steps = np.empty_like(normals)
        for i, factor in enumerate(self.factors):
            steps[i][:, order] = linalg.lapack.dtrtrs(factor.T, normals[i].T, lower=0)[0].T
        return steps

    def at(self, normals: Array) -> Array:
        """Return the x, (thetas, n, p), at the places of standard normals, kappa's the last."""
        placed = normals.copy()
        # The normal of kappa by its place in what lies above 0, by logs of the upper tail.
        tail = special.log_ndtr(-normals[..., -1]) + special.log_ndtr(self.kappa_sds)[:, None]
        placed[..., -1] = -special.ndtri_exp(tail)
        return self.placed(placed)

    def normals_of(self, x: Array) -> Array:
        """Return the standard normals of x, (thetas, n, p): the inverse of `at`."""
        normals = self._unplaced(x)
        tail = special.log_ndtr(-normals[..., -1]) - special.log_ndtr(self.kappa_sds)[:, None]
        normals[..., -1] = -special.ndtri_exp(np.minimum(tail, -TINY))
        return normals

    def placed(self, normals: Array) -> Array:
        """Return the x, (thetas, n, p), that standard normals of the Gaussian lead to; their kappa is above 0."""
        x = self.centre[:, None] + self.steps(normals)
        x[..., KAPPA] = np.maximum(x[..., KAPPA], TINY)
        return x

    def log_density(self, x: Array) -> Array:
        """Return the log density of x, (thetas, n, p), without constants that no theta changes; (thetas, n)."""
        height = np.array([np.log(np.diagonal(factor)).sum() for factor in self.factors])
        height -= special.log_ndtr(self.kappa_sds)
        density: Array = height[:, None] - 0.5 * (self._unplaced(x) ** 2).sum(axis=-1)
        return density

    def _unplaced(self, x: Array) -> Array:
        """Return the normals, (thetas, n, p), that lead to x."""
        gaps = (x - self.centre[:, None])[..., ordered(x.shape[-1])]
        return np.stack([gap @ factor for gap, factor in zip(gaps, self.factors, strict=True)])

    @property
    def kappa_sds(self) -> Array:
        """How many sds the centres' kappa lie above 0, (thetas,)."""
        sds: Array = self.centre[:, KAPPA] * np.array([factor[-1, -1] for factor in self.factors])
        return sds


@dataclass(frozen=True, eq=False)
class Mixture:
    """x given each of some thetas by one Gaussian or several, each with its share of the draws; the narrow one first.

    Attributes
    ----------
    parts : list of Conditionals
    shares : (parts,)
    """

    parts: Sequence[Conditionals]
    shares: Sequence[float]

    @property
    def narrow(self) -> Conditionals:
        """The part that is as narrow as the data say."""
        return self.parts[0]

    def take(self, rows: Indices | Mask) -> "Mixture":
        """Return that of some of the thetas."""
        return replace(self, parts=[part.take(rows) for part in self.parts])

    def put(self, rows: Mask, other: "Mixture") -> "Mixture":
        """Return this with that of another in the place of some thetas."""
        return replace(self, parts=[own.put(rows, new) for own, new in zip(self.parts, other.parts, strict=True)])

    def draw(self, n: int, *, rng: np.random.Generator) -> tuple[Array, Mask]:
        """Return n draws given each theta, (thetas, n, p), and which were drawn again: their kappa was not above 0."""
        shape = self.narrow.centre.shape
        part = rng.choice(len(self.shares), (shape[0], n), p=self.shares)
        normals = rng.standard_normal((shape[0], n, shape[1]))
        sds = np.choose(part, [given.kappa_sds[:, None] for given in self.parts])
        again = normals[..., -1] <= -sds
        # By logs of the upper tail, so that a centre far below 0 does no harm.
        tail = np.log1p(-rng.random(int(again.sum()))) + special.log_ndtr(sds[again])
        normals[again, -1] = -special.ndtri_exp(tail)
        drawn = self.narrow.placed(normals)
        for k, given in enumerate(self.parts[1:], start=1):
            some = (part == k).any(axis=1)
            own = part[some] == k
            drawn[some] = np.where(own[..., None], given.take(some).placed(normals[some]), drawn[some])
        return drawn, again

    def log_densities(self, x: Array) -> tuple[Array, Array]:
        """Return the log density of x, (thetas, n, p), in the narrow part and in all, (thetas, n) each."""
        densities = [given.log_density(x) for given in self.parts]
        mixed = [np.log(share) + density for share, density in zip(self.shares, densities, strict=True)]
        return densities[0], np.logaddexp.reduce(mixed)


def natural(logs: Array) -> Array:
    """Return x, (..., p), of x with delta on its log scale."""
    x = logs.copy()
    x[..., DELTA] = np.exp(logs[..., DELTA])
    return x


def _factor(matrix: Callable[[int], Array], i: int) -> Array:
    """Return `lower_factor` of the matrix that is made for i, in its place."""
    whole = matrix(i)
    # By rows it is the transpose of what LAPACK takes by columns: its upper factor is the lower one here.
    _, fault = linalg.lapack.dpotrf(whole.T, lower=0, clean=1, overwrite_a=1)
    return whole if fault == 0 else lower_factor(matrix(i))
