"""Shipment and line effects integrated box by box, by adaptive Gauss-Hermite quadrature (Pinheiro & Bates 1995).

The nodes of a box sit about the joint mode of its shipment effect u and its line effects v; a line's nodes lean
against u as its mode does, so that both stay where the integrand is. Derivatives are those of the integral with nodes
held: means and covariances over the nodes (Fisher's identity).
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from model.likelihood import Terms, terms, value
from model.observations import Indices
from model.quadrature import normal_nodes

Array = NDArray[np.float64]

BOX_NODES, LINE_NODES = 9, 5
MODE_STEPS = 40
LARGEST_STEP = 2.0
LEAST_CURVATURE = 1e-6


@dataclass(frozen=True, eq=False)
class Grouping:
    """Which lines belong to which box: `box` (lines,) ascending, and the pairs of lines within a box."""

    box: Indices
    starts: Indices
    n_boxes: int
    pair_first: Indices
    pair_second: Indices

    @classmethod
    def of(cls, box: Indices) -> "Grouping":
        """Group lines whose box numbers ascend without gaps."""
        n_boxes = int(box[-1]) + 1 if len(box) else 0
        starts = np.searchsorted(box, np.arange(n_boxes))
        sizes = np.diff(np.append(starts, len(box)))
        own = sizes[box]
        first = np.repeat(np.arange(len(box)), own)
        offset = np.arange(len(first)) - np.repeat(np.cumsum(own) - own, own)
        return cls(box, starts, n_boxes, first, starts[box[first]] + offset)

    def tiled(self, n: int) -> "Grouping":
        """Return the grouping of n copies of the lines, each with boxes of its own."""
        return Grouping.of((self.box[None, :] + self.n_boxes * np.arange(n)[:, None]).ravel())

    def mean(self, by_line: Array) -> Array:
        """Average lines by box, (boxes,)."""
        means: Array = self.sum(by_line) / np.bincount(self.box, minlength=self.n_boxes)
        return means

    def sum(self, by_line: Array) -> Array:
        """Add lines up by box along the first axis."""
        total: Array = np.add.reduceat(by_line, self.starts, axis=0)
        return total


class Modes(NamedTuple):
    """Joint mode of a box's effects: u (boxes,), v (lines,), and the curvature of the likelihood there (lines,)."""

    u: Array
    v: Array
    curvature: Array


class BoxTerms(NamedTuple):
    """Integrated log likelihood and derivatives.

    Attributes
    ----------
    value : (boxes,)
    eta, delta : (lines,) and scalar
        First derivatives.
    eta2 : (pairs,)
        Second derivatives in the linear predictors of two lines of a box, in the order of `Grouping`'s pairs.
    eta_delta, delta2 : (lines,) and scalar
    log_box_sd, log_line_sd, h0 : (boxes,), scalar, scalar
        First derivatives in the log sds of shipment and line effects, and in h0.
    """

    value: Array
    eta: Array
    delta: float
    eta2: Array
    eta_delta: Array
    delta2: float
    log_box_sd: Array
    log_line_sd: float
    h0: float


class Setting(NamedTuple):
    """What the integrals depend on beside eta: shipment sd (boxes,); line sd, delta, h0, scalars or (lines,)."""

    box_sd: Array
    line_sd: float | Array
    delta: float | Array
    h0: float | Array

    def by_line(self, n: int) -> tuple[Array, Array, Array]:
        """Return line sd, delta and h0 as (lines,) each."""
        line_sd, delta, h0 = (np.broadcast_to(np.asarray(x, dtype=float), n) for x in self[1:])
        return line_sd, delta, h0


class BoxIntegral:
    """The integrals of one set of counts; remembers modes, so that the next call starts near them."""

    def __init__(
        self, c: Array, grouping: Grouping, *, box_nodes: int = BOX_NODES, line_nodes: int = LINE_NODES
    ) -> None:
        """Take the (5, lines) coefficients of the counts; 1 node each means no such effect."""
        self._c, self._grouping = c, grouping
        self._box_nodes, self._box_log_weights = _log_weights(box_nodes)
        self._line_nodes, self._line_log_weights = _log_weights(line_nodes)
        self._modes: Modes | None = None

    def _find_modes(self, eta: Array, setting: Setting) -> Modes:
        g, c = self._grouping, self._c
        u, v = (self._modes.u, self._modes.v) if self._modes else (np.zeros(g.n_boxes), np.zeros(len(eta)))
        has_box, has_line = len(self._box_nodes) > 1, len(self._line_nodes) > 1
        prior_u = setting.box_sd**-2.0 if has_box else np.full(g.n_boxes, np.inf)
        line_sd, delta, h0 = setting.by_line(len(eta))
        prior_v = line_sd**-2.0 if has_line else np.full(len(eta), np.inf)
        for step in range(MODE_STEPS):
            t = terms(eta + u[g.box] + v, c, delta, h0)
            curvature = np.maximum(-t.eta2, LEAST_CURVATURE)
            if not has_box and not has_line:
                break
            share = curvature / (curvature + prior_v) if has_line else np.zeros_like(curvature)
            slope_v = t.eta - v * prior_v if has_line else np.zeros_like(v)
            if has_box:
                schur = g.sum(curvature * (1.0 - share)) + prior_u
                du = (g.sum(t.eta - share * slope_v) - u * prior_u) / schur
                du = np.clip(du, -LARGEST_STEP, LARGEST_STEP)
            else:
                du = np.zeros(g.n_boxes)
            dv = np.zeros_like(v)
            if has_line:
                dv = np.clip((slope_v - curvature * du[g.box]) / (curvature + prior_v), -LARGEST_STEP, LARGEST_STEP)
            u, v = u + du, v + dv
            if step and max(np.abs(du).max(), np.abs(dv).max()) < 1e-3:  # noqa: PLR2004 - nodes need no more
                break
        self._modes = Modes(u, v, curvature)
        return self._modes

    def _nodes(self, eta: Array, setting: Setting) -> tuple[Array, Array, Array, Array, Array]:
        """Return the shifted predictor (lines, K, J), box effect (boxes, K), line effect and both log weights."""
        g = self._grouping
        modes = self._find_modes(eta, setting)
        has_box, has_line = len(self._box_nodes) > 1, len(self._line_nodes) > 1
        line_sd = setting.by_line(len(eta))[0]
        prior_v = line_sd**-2.0 if has_line else np.full(len(eta), np.inf)
        share = modes.curvature / (modes.curvature + prior_v) if has_line else np.zeros_like(eta)
        if has_box:
            spread_u = (g.sum(modes.curvature * (1.0 - share)) + setting.box_sd**-2.0) ** -0.5
            u = modes.u[:, None] + spread_u[:, None] * self._box_nodes
            log_wu = (
                self._box_log_weights
                + (np.log(spread_u / setting.box_sd))[:, None]
                - 0.5 * (u.T / setting.box_sd).T ** 2
            )
        else:
            u, log_wu = np.zeros((g.n_boxes, 1)), np.zeros((g.n_boxes, 1))
        if has_line:
            spread_v = (modes.curvature + prior_v) ** -0.5
            lean = modes.v[:, None] - share[:, None] * (u[g.box] - modes.u[g.box, None])
            v = lean[:, :, None] + (spread_v[:, None] * self._line_nodes)[:, None, :]
            log_wv = (self._line_log_weights + np.log(spread_v / line_sd)[:, None])[:, None, :] - 0.5 * (
                v / line_sd[:, None, None]
            ) ** 2
        else:
            v = np.zeros((len(eta), u.shape[1], 1))
            log_wv = np.zeros_like(v)
        return eta[:, None, None] + u[g.box][:, :, None] + v, u, v, log_wu, log_wv

    def value(self, eta: Array, setting: Setting) -> Array:
        """Return the integrated log likelihood of each box, (boxes,)."""
        shifted, _, _, log_wu, log_wv = self._nodes(eta, setting)
        _, delta, h0 = (x[:, None, None] for x in setting.by_line(len(eta)))
        by_line = _log_sum(value(shifted, self._c[:, :, None, None], delta, h0) + log_wv)
        return _log_sum(self._grouping.sum(by_line) + log_wu)

    def terms(self, eta: Array, setting: Setting) -> BoxTerms:
        """Return the integrated log likelihood with its derivatives."""
        g = self._grouping
        shifted, u, v, log_wu, log_wv = self._nodes(eta, setting)
        line_sd, delta, h0 = (x[:, None, None] for x in setting.by_line(len(eta)))
        t: Terms = terms(shifted, self._c[:, :, None, None], delta, h0)
        by_line = _log_sum(t.value + log_wv)
        wv = np.exp(t.value + log_wv - by_line[:, :, None])  # weights of a line's nodes given u

        def mean_v(x: Array) -> Array:
            result: Array = np.einsum("nkj,nkj->nk", wv, x)
            return result

        f_eta, f_delta = mean_v(t.eta), mean_v(t.delta)
        f_eta2 = mean_v(t.eta2 + t.eta**2) - f_eta**2
        f_delta2 = mean_v(t.delta2 + t.delta**2) - f_delta**2
        f_eta_delta = mean_v(t.eta_delta + t.eta * t.delta) - f_eta * f_delta
        by_box = g.sum(by_line) + log_wu
        total = _log_sum(by_box)
        wu = np.exp(by_box - total[:, None])  # weights of a box's nodes
        w = wu[g.box]

        def mean_u(x: Array) -> Array:
            result: Array = np.einsum("nk,nk->n", w, x)
            return result

        eta1 = mean_u(f_eta)
        box_delta = g.sum(f_delta)
        box_delta_mean = np.einsum("bk,bk->b", wu, box_delta)
        pairs = np.einsum("pk,pk->p", w[g.pair_first] * f_eta[g.pair_first], f_eta[g.pair_second])
        pairs -= eta1[g.pair_first] * eta1[g.pair_second]
        pairs += np.where(g.pair_first == g.pair_second, mean_u(f_eta2)[g.pair_first], 0.0)
        box_sd = setting.box_sd if len(self._box_nodes) > 1 else np.ones(g.n_boxes)
        if len(self._line_nodes) == 1:
            line_sd = np.ones_like(line_sd)
        return BoxTerms(
            value=total,
            eta=eta1,
            delta=float(box_delta_mean.sum()),
            eta2=pairs,
            eta_delta=mean_u(f_eta_delta) + mean_u(f_eta * box_delta[g.box]) - eta1 * box_delta_mean[g.box],
            delta2=float(mean_u(f_delta2).sum() + np.einsum("bk,bk->", wu, box_delta**2) - (box_delta_mean**2).sum()),
            log_box_sd=np.einsum("bk,bk->b", wu, (u / box_sd[:, None]) ** 2) - 1.0,
            log_line_sd=float((mean_u(mean_v((v / line_sd) ** 2)) - 1.0).sum()),
            h0=float(mean_u(mean_v(t.h0)).sum()),
        )


def _log_weights(n: int) -> tuple[Array, Array]:
    nodes, weights = normal_nodes(n)
    return nodes, np.log(weights) + 0.5 * nodes**2


def _log_sum(x: Array) -> Array:
    """Return log of the sum of exponentials along the last axis."""
    peak = x.max(axis=-1, keepdims=True)
    total: Array = np.log(np.exp(x - peak).sum(axis=-1)) + peak[..., 0]
    return total
