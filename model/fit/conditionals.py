"""x given theta: Gaussians with delta on its log scale, cut off where kappa is not above 0."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, special

from model.fit.hierarchy import ALPHA, DELTA, KAPPA, InnerPrior
from model.fit.positive_definite import lower_factors

Array = NDArray[np.float64]

N_COMMON = DELTA + 1


@dataclass(frozen=True, eq=False)
class Conditionals:
    """x given each of some thetas, delta on its log scale: Gaussians cut off where kappa is not above 0.

    Attributes
    ----------
    centre : (thetas, p)
        Of the Gaussian that is cut off.
    order : (p,)
        The inner parameters, effects first and kappa last: a later one takes all earlier ones along.
    factor, inverse : (thetas, p, p)
        Lower Cholesky factor of the precision in that order, and its inverse.
    prior : InnerPrior
        That of the thetas.
    """

    centre: Array
    order: NDArray[np.intp]
    factor: Array
    inverse: Array
    prior: InnerPrior

    @classmethod
    def of(cls, precision: Array, pull: Array, prior: InnerPrior, move: Array) -> "Conditionals":
        """Take precisions (thetas, p, p), precision x centre (thetas, p), and what is added to the centre."""
        p = pull.shape[-1]
        order = np.append(np.arange(N_COMMON, p), [DELTA, ALPHA, KAPPA])
        factor = lower_factors(precision[:, order[:, None], order])
        inverse = np.stack([linalg.lapack.dtrtri(one, lower=1)[0] for one in factor])
        given = cls(np.empty_like(pull), order, factor, inverse, prior)
        given.centre[:] = given.covaried(pull[..., None])[..., 0] + move
        return given

    def covaried(self, columns: Array) -> Array:
        """Return covariance x columns, (thetas, p, n); columns are those of all or (thetas, p, n)."""
        solved = np.empty((len(self.factor), *columns.shape[-2:]))
        solved[:, self.order] = self.inverse.mT @ (self.inverse @ columns[..., self.order, :])
        return solved

    def steps(self, normals: Array) -> Array:
        """Return steps from the centre, (thetas, n, p), of standard normals in `order`."""
        steps = np.empty_like(normals)
        steps[..., self.order] = normals @ self.inverse
        return steps

    def at(self, normals: Array) -> Array:
        """Return the x, (thetas, n, p), at the places of standard normals, kappa's the last."""
        placed = normals.copy()
        # The normal of kappa by its place in what lies above 0, by logs of the upper tail.
        tail = special.log_ndtr(-normals[..., -1]) + special.log_ndtr(self._kappa_sds)[:, None]
        placed[..., -1] = -special.ndtri_exp(tail)
        x = self.centre[:, None] + self.steps(placed)
        x[..., KAPPA] = np.maximum(x[..., KAPPA], np.finfo(float).tiny)
        return x

    def normals_of(self, x: Array) -> Array:
        """Return the standard normals of x, (thetas, n, p): the inverse of `at`."""
        normals: Array = (x - self.centre[:, None])[..., self.order] @ self.factor
        tail = special.log_ndtr(-normals[..., -1]) - special.log_ndtr(self._kappa_sds)[:, None]
        normals[..., -1] = -special.ndtri_exp(np.minimum(tail, -np.finfo(float).tiny))
        return normals

    def draw(self, n: int, *, rng: np.random.Generator) -> tuple[Array, NDArray[np.bool_]]:
        """Return n draws given each theta, (thetas, n, p), and which were drawn again: their kappa was not above 0."""
        normals = rng.standard_normal((len(self.centre), n, self.centre.shape[-1]))
        again = normals[..., -1] <= -self._kappa_sds[:, None]
        # By logs of the upper tail, so that a centre far below 0 does no harm.
        tail = (
            np.log1p(-rng.random(int(again.sum())))
            + np.broadcast_to(special.log_ndtr(self._kappa_sds)[:, None], again.shape)[again]
        )
        normals[again, -1] = -special.ndtri_exp(tail)
        x = self.centre[:, None] + self.steps(normals)
        x[..., KAPPA] = np.maximum(x[..., KAPPA], np.finfo(float).tiny)
        return x, again

    def log_density(self, x: Array) -> Array:
        """Return the log density of x, (thetas, n, p), without constants that no theta changes; (thetas, n)."""
        normals = (x - self.centre[:, None])[..., self.order] @ self.factor
        height = np.log(np.diagonal(self.factor, axis1=1, axis2=2)).sum(axis=1) - special.log_ndtr(self._kappa_sds)
        density: Array = height[:, None] - 0.5 * (normals**2).sum(axis=-1)
        return density

    @property
    def _kappa_sds(self) -> Array:
        """How many sds the centres' kappa lie above 0, (thetas,)."""
        sds: Array = self.centre[:, KAPPA] * self.factor[:, -1, -1]
        return sds
