"""Regression of draws on some of their inputs by natural cubic splines, fitted values always from other draws.

Each input enters as a natural cubic spline with five knots at fixed quantiles (Hastie, Tibshirani & Friedman 2009, The
Elements of Statistical Learning, 5.2.1; quantiles of Harrell 2015, Regression Modeling Strategies, table 2.3), each
pair of inputs as a product beside. Least squares by the normal equations, which a fold leaves by subtraction.
"""

from collections.abc import Iterator, Sequence
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

KNOTS_AT = (0.05, 0.275, 0.5, 0.725, 0.95)
# An input counts as what it is here and beyond: a few far draws would else decide a spline's end.
KEPT_AT = (0.005, 0.995)
LEAST_KNOTS = 3
FOLDS = 8
# To rounding: a term that varies by less of itself does not vary.
LEAST_SPREAD = 1e-12
# Added to the variance of each term, which is 1: it keeps apart what is told twice, and at 0 what cannot be known.
RIDGE = 1e-6


class Regression:
    """Regression on some inputs of any values drawn beside them.

    Parameters
    ----------
    inputs : array_like, shape (draws, inputs)
        Inputs that do not vary are left out; without any the fitted value is the mean of the other draws.
    """

    def __init__(self, inputs: ArrayLike) -> None:
        terms = _terms(np.asarray(inputs, dtype=np.float64).T)
        self._folds = [np.ascontiguousarray(terms[:, fold::FOLDS]) for fold in range(FOLDS)]
        own = np.stack([fold @ fold.T for fold in self._folds])
        self._left = own.sum(axis=0) - own + RIDGE * terms.shape[1] * np.eye(len(terms))

    def fitted(self, values: ArrayLike) -> Array:
        """Return the fitted value of each draw, by the draws of the other folds.

        Parameters
        ----------
        values : array_like, shape (draws, kinds)

        Returns
        -------
        ndarray, shape (draws, kinds)
            Of draw i, from a fit to the draws j with j mod 8 unlike i mod 8: what it is fitted by knows nothing of it.
        """
        y = np.asarray(values, dtype=np.float64)
        # Taken from the mean, so that the ridge, which is on the constant too, draws to it and not to 0.
        mean = y.mean(axis=0)
        own = np.stack([terms @ (y[fold::FOLDS] - mean) for fold, terms in enumerate(self._folds)])
        coefficients = np.linalg.solve(self._left, own.sum(axis=0) - own)
        fitted = np.empty_like(y)
        for fold, (terms, slopes) in enumerate(zip(self._folds, coefficients, strict=True)):
            fitted[fold::FOLDS] = terms.T @ slopes + mean
        return fitted


def _terms(inputs: Array) -> Array:
    """Return the terms of the regression on (inputs, draws), (terms, draws): a constant, then of variance 1 each."""
    n = inputs.shape[1]
    low, high = _quantiles(np.sort(inputs, axis=1), KEPT_AT).T[:, :, None]
    # A rare mark of yes and no, such as a box lost whole, varies outside these quantiles only.
    kept = _scaled(np.where(low < high, np.clip(inputs, low, high), inputs))
    bent = [term for column in kept for term in _spline(column)]
    products = [one * other for one, other in combinations(kept, 2)]
    return np.concatenate([np.ones((1, n)), kept, _scaled(np.array([*bent, *products]).reshape(-1, n))])


def _spline(x: Array) -> Iterator[Array]:
    """Yield the bent terms of a natural cubic spline, (draws,) each; none of an input of few values."""
    knots = np.unique(_quantiles(np.sort(x), KNOTS_AT))
    if len(knots) < LEAST_KNOTS:
        return
    last = knots[-1]
    cubes = _cube(x - knots[:, None])
    of_last = (cubes[-2] - cubes[-1]) / (last - knots[-2])
    for knot, cube in zip(knots[:-2], cubes, strict=False):
        yield (cube - cubes[-1]) / (last - knot) - of_last


def _cube(x: Array) -> Array:
    above = np.maximum(x, 0.0)
    cubed: Array = above * above * above
    return cubed


def _quantiles(ascending: Array, levels: Sequence[float]) -> Array:
    """Return the values at these levels of draws in ascending order along the last axis, the nearest below."""
    n = ascending.shape[-1]
    at: Array = ascending[..., [int(level * (n - 1)) for level in levels]]
    return at


def _scaled(rows: Array) -> Array:
    """Return rows with mean 0 and variance 1, (kept, draws); those that do not vary are left out."""
    centred = rows - rows.mean(axis=1, keepdims=True)
    spread = np.sqrt(np.einsum("ij,ij->i", centred, centred) / max(rows.shape[1], 1))
    varying = spread > LEAST_SPREAD * np.abs(rows).max(axis=1, initial=1.0)
    scaled: Array = centred[varying] / spread[varying, None]
    return scaled
