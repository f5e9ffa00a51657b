"""Slope of theta's log marginal posterior, with x integrated by its Gaussian at the mode.

By Fisher's identity it is the mean over x of the joint density's slope. The mean over the Gaussian is exact for the
scales of effects; for what spreads boxes and lines it is the slope at the mode and what they do to the log determinant
of x's precision (Laplace's method: Tierney & Kadane 1986, JASA 81:82); for h0 and the clock, the slope at the mode.
"""

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, sparse, special

from model.fit.hierarchy import ALPHA, DELTA, FIT_SCALES, KAPPA, LOG_ODDS_LOST, OUTER
from model.fit.inner_mode import Inner
from model.fit.target import LOG_CHILL, LOG_H0, LOG_Q10, Target
from model.plant import SCALE_OF_KIND

Array = NDArray[np.float64]

STEP = 1e-3
LINES_AT_ONCE = 4096


def marginal_slope(target: Target, theta: Array, inner: Inner) -> Array:
    """Return the gradient of theta's log marginal posterior, (10,), from the mode of x given theta."""
    h = target.hierarchy
    covariance = linalg.inv(inner.precision, check_finite=False)
    slope: Array = -(theta - h.outer_mean) / h.outer_sd**2
    prior = h.inner(theta)
    squares = prior.expected_squares(inner.x, np.diag(covariance))
    part = h.slices["drift"]
    second = covariance[part, part] + np.outer(inner.x[part], inner.x[part])
    squares[part] = (prior.precision(inner.x)[part, part] * second).sum(axis=1)
    for kind, scale in FIT_SCALES.items():
        slope[OUTER.index(scale)] += float((squares[h.slices[kind]] - 1.0).sum())
    slope += _common_slope(target, theta, inner, covariance)
    slope += _likelihood_slope(target, theta, inner)
    slope += _determinant_slope(target, theta, inner, covariance)
    return slope


def _common_slope(target: Target, theta: Array, inner: Inner, covariance: Array) -> Array:
    """Return theta's slope through the prior of (alpha, kappa, delta), whose mean and spread follow the scales."""

    scales = [OUTER.index(name) for name in (*SCALE_OF_KIND.values(), "shipment", "line")]
    prior = target.hierarchy.inner(np.stack([theta, *(_moved(theta, index) for index in scales)]))
    part = slice(ALPHA, DELTA)
    gap = inner.x[part] - prior.mean
    expected = 0.5 * np.linalg.slogdet(prior.common)[1] - 0.5 * np.einsum("ni,nij,nj->n", gap, prior.common, gap)
    expected -= 0.5 * (prior.common * covariance[part, part]).sum(axis=(1, 2))
    delta, shape, rate = inner.x[DELTA], prior.delta_shape, prior.delta_rate
    expected += shape * np.log(rate * delta) - rate * delta - special.gammaln(shape)
    slope = np.zeros(len(OUTER))
    slope[scales] = (expected[1:] - expected[0]) / STEP
    return slope


def _likelihood_slope(target: Target, theta: Array, inner: Inner) -> Array:
    """Return the slope of the log likelihood at x's mode."""
    slope = np.zeros(len(OUTER))
    clock, variance = target.clock(theta)
    setting = target.setting(theta, float(inner.x[KAPPA]), float(inner.x[DELTA]), variance)
    for index, part_of in target.box_variances(theta).items():
        slope[index] += float((inner.terms.log_box_sd * part_of / setting.box_sd**2).sum())
    for index, part_of in target.line_variances(theta).items():
        if index >= 0:
            slope[index] += float((inner.terms.log_line_sd * part_of / np.square(setting.line_sd)).sum())
    slope[LOG_H0] += inner.terms.h0 * np.exp(theta[LOG_H0])
    slope[LOG_ODDS_LOST] += inner.terms.lost * setting.lost * (1.0 - setting.lost)
    for index in (LOG_Q10, LOG_CHILL):
        change = (target.clock(_moved(theta, index))[0] - clock) / STEP
        slope[index] += float(inner.terms.eta @ (inner.x[KAPPA] * change))
    return slope


def _determinant_slope(target: Target, theta: Array, inner: Inner, covariance: Array) -> Array:
    """Return the slope of minus half the log determinant of x's precision, through the data's part of it.

    That part is X' W X, with the precision W of a box's lines from their curvatures and from the spread of lines and
    boxes. What h0 and the clock do to it is left out.
    """
    clock, _ = target.clock(theta)
    shared = _line_covariances(target, target.columns(clock), covariance)
    base = _line_precision(target, theta, inner)
    slope = np.zeros(len(OUTER))
    for index in {*target.box_variances(theta), *target.line_variances(theta)} - {-1}:
        change = _line_precision(target, _moved(theta, index), inner) - base
        slope[index] = -0.5 * float(change @ shared) / STEP
    return slope


def _line_covariances(target: Target, design: sparse.csr_array, covariance: Array) -> Array:
    """Return the posterior covariances of the predictors of two lines of a box, shipment and line aside, (pairs,)."""
    shared = []
    for piece in target.grouping.pieces(LINES_AT_ONCE):
        g, own = piece.grouping, design[piece.lines]
        spread: Array = own @ covariance
        # The few columns of each second line, one after another.
        second = own[g.pair_second]
        pair = np.repeat(np.arange(len(g.pair_first)), np.diff(second.indptr))
        products = spread[g.pair_first[pair], second.indices] * second.data
        shared.append(np.bincount(pair, weights=products, minlength=len(g.pair_first)))
    return np.concatenate(shared)


def _line_precision(target: Target, theta: Array, inner: Inner) -> Array:
    """Return the precision of the predictors of a box's lines with shipment and line effects integrated, (pairs,)."""
    g = target.grouping
    _, variance = target.clock(theta)
    setting = target.setting(theta, float(inner.x[KAPPA]), float(inner.x[DELTA]), variance)
    own = 1.0 / (1.0 / inner.terms.curvature + np.square(setting.line_sd))
    # Sherman & Morrison: what the box shares is taken off.
    shared = setting.box_sd**2 / (1.0 + setting.box_sd**2 * g.sum(own))
    precision: Array = -own[g.pair_first] * own[g.pair_second] * shared[g.box[g.pair_first]]
    precision += np.where(g.pair_first == g.pair_second, own[g.pair_first], 0.0)
    return precision


def _moved(theta: Array, index: int) -> Array:
    moved = theta.copy()
    moved[index] += STEP
    return moved
