"""Matrices that ought to be positive definite, made so: their factors, and their eigenvalues raised."""

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

Array = NDArray[np.float64]

# Least eigenvalue of a matrix that is made positive definite, as a share of its largest.
LEAST_SHARE = 1e-6


def lower_factor(matrix: Array) -> Array:
    """Return the lower Cholesky factor of a symmetric matrix, or of one near to it that is positive definite.

    Counts that contradict each other by thousands of nats leave quadratic fits whose covariance is singular to the last
    digit. Draws are weighted by their density whatever the factor, so a wider one costs draws and bends nothing.
    """
    factor: Array
    try:
        factor = linalg.cholesky(matrix, lower=True, check_finite=False)
    except linalg.LinAlgError:
        values, vectors = np.linalg.eigh(0.5 * (matrix + matrix.T))
        sizes = np.maximum(np.abs(values), LEAST_SHARE * float(np.abs(values).max()))
        factor = linalg.cholesky((vectors * sizes) @ vectors.T, lower=True, check_finite=False)
    return factor


def without_negative(matrix: Array) -> Array:
    """Return a symmetric matrix with negative eigenvalues raised to 0: the prior's precision alone counts there."""
    values, vectors = np.linalg.eigh(matrix)
    raised: Array = (vectors * np.maximum(values, 0.0)) @ vectors.T
    return raised


def positive(matrix: Array, floor: Array) -> Array:
    """Return a symmetric matrix with eigenvalues raised to the least of a floor's."""
    values, vectors = np.linalg.eigh(matrix)
    least = float(np.linalg.eigvalsh(floor)[0])
    if values[0] >= least:
        return matrix
    raised: Array = (vectors * np.maximum(values, least)) @ vectors.T
    return raised
