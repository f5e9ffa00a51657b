"""Shipment and line effects integrated box by box, by adaptive Gauss-Hermite quadrature (Pinheiro & Bates 1995).

The nodes of a box sit about the joint mode of its shipment effect u and its line effects v; a line's nodes lean
against u as its mode does, so that both stay where the integrand is. Derivatives are those of the integral with nodes
held: means and covariances over the nodes (Fisher's identity).
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from model.fit.effect_modes import LEAST_CURVATURE, EffectPosterior, Modes, find_modes
from model.fit.grouping import Grouping, Piece
from model.fit.likelihood import Terms, terms, value
from model.fit.strays import Strays, mixed_boxes, mixed_lines
from model.quadrature import normal_nodes

Array = NDArray[np.float64]
Kind = type[np.float32] | type[np.float64]

BOX_NODES, LINE_NODES = 9, 5
# In sds of an effect given the counts; nodes need no better modes.
MODE_TOLERANCE = 5e-3
LINES_AT_ONCE = 2048
# Coarser, where draws are weighed.
WEIGHT_BOX_NODES, WEIGHT_LINE_NODES = 5, 5
WEIGHT_MODE_TOLERANCE = 0.3
MOST_REPEATED = 20_000_000


class Nodes(NamedTuple):
    """Quadrature nodes of a piece.

    Attributes
    ----------
    shifted, v : (line nodes, box nodes, lines)
        Shifted predictor and line effect.
    u, log_wu : (box nodes, boxes)
        Box effect, and the log weights of its nodes.
    log_wv : (lines,)
        Added to the log weights of the nodes of a line effect.
    """

    shifted: Array
    u: Array
    v: Array
    log_wu: Array
    log_wv: Array


class BoxTerms(NamedTuple):
    """Integrated log likelihood and derivatives.

    Attributes
    ----------
    value : (boxes,)
    eta, delta : (lines,) and (boxes,)
        First derivatives.
    eta2 : (pairs,)
        Second derivatives in the linear predictors of two lines of a box, in the order of `Grouping`'s pairs.
    eta_delta, delta2 : (lines,) and (boxes,)
    log_box_sd, log_line_sd, h0, lost : (boxes,), (lines,), scalar, scalar
        First derivatives in the log sds of shipment and line effects, in h0, and in the chance to be lost whole.
    curvature : (lines,)
        Of the lines' own likelihoods, at the joint mode of shipment and line effects.
    """

    value: Array
    eta: Array
    delta: Array
    eta2: Array
    eta_delta: Array
    delta2: Array
    log_box_sd: Array
    log_line_sd: Array
    h0: float
    lost: float
    curvature: Array


class Setting(NamedTuple):
    """What the integrals depend on beside eta.

    Shipment sd (boxes,); line sd, delta, h0, scalars or (lines,); chance to be lost whole, scalar or (boxes,).
    """

    box_sd: Array
    line_sd: float | Array
    delta: float | Array
    h0: float | Array
    lost: float | Array = 0.0

    def by_line(self, n: int) -> tuple[Array, Array, Array]:
        """Return line sd, delta and h0 as (lines,) each."""
        line_sd, delta, h0 = (np.broadcast_to(np.asarray(x, dtype=float), n) for x in self[1:4])
        return line_sd, delta, h0


class BoxIntegral:
    """The integrals of one set of counts; remembers modes, so that the next call starts near them.

    Arrays over nodes have the lines last: (line nodes, box nodes, lines).
    """

    def __init__(
        self,
        c: Array,
        grouping: Grouping,
        *,
        box_nodes: int = BOX_NODES,
        line_nodes: int = LINE_NODES,
        mode_tolerance: float = MODE_TOLERANCE,
        single: bool = False,
        strays: Strays | None = None,
    ) -> None:
        """Take the (5, lines) coefficients of the counts; 1 node each means no such effect.

        `strays` are what the counts are likely to be where the clock does not speak of them; None: it always does.
        With `single`, modes are found and values are summed over nodes in single precision: they err by about 1e-6 a
        line.
        """
        self._c, self._grouping, self._strays = c, grouping, strays
        self._value_type: Kind = np.float32 if single else np.float64
        self._box_nodes, self._box_log_weights = _log_weights(box_nodes)
        self._line_nodes, self._line_log_weights = _log_weights(line_nodes)
        self._line_weights = np.exp(self._line_log_weights)
        self._mode_tolerance = mode_tolerance
        self._modes: Modes | None = None
        self._mode_c = self._of_kind(c)
        self._mode_strays = None if strays is None else strays.as_kind(self._value_type)
        self._pieces = grouping.pieces(LINES_AT_ONCE)
        # Counts repeated for each node: arrays of one shape are worked on some times faster.
        shape = len(self._line_nodes), len(self._box_nodes)
        repeat = c.size * shape[0] * shape[1] <= MOST_REPEATED
        self._value_c = [self._counts(piece, shape if repeat else (1, 1)) for piece in self._pieces]

    def _counts(self, piece: "Piece", shape: tuple[int, int]) -> Array:
        rows = self._c[:, None, None, piece.lines].astype(self._value_type)
        return np.ascontiguousarray(np.broadcast_to(rows, (5, *shape, rows.shape[-1])))

    def _of_kind(self, x: Array) -> Array:
        numbers: Array = x.astype(self._value_type, copy=False)
        return numbers

    def _find_modes(self, eta: Array, setting: Setting) -> Modes:
        line_sd, delta, h0 = setting.by_line(len(eta))
        posterior = EffectPosterior(
            grouping=self._grouping,
            c=self._mode_c,
            strays=self._mode_strays,
            eta=self._of_kind(eta),
            delta=self._of_kind(delta),
            h0=self._of_kind(h0),
            box_precision=self._of_kind(setting.box_sd**-2.0) if len(self._box_nodes) > 1 else None,
            line_precision=self._of_kind(line_sd**-2.0) if len(self._line_nodes) > 1 else None,
        )
        self._modes = find_modes(posterior, self._mode_tolerance, self._modes)
        return Modes(*(part.astype(np.float64, copy=False) for part in self._modes))

    def _nodes(
        self, eta: Array, box_sd: Array, line_sd: Array, modes: Modes, piece: "Piece", kind: Kind = np.float64
    ) -> "Nodes":
        """Return the nodes of a piece's boxes and lines, those of lines as numbers of a kind."""
        g, lines, boxes = piece.grouping, piece.lines, piece.boxes
        curvature = modes.curvature[lines]
        line_sd, box_sd = line_sd[lines], box_sd[boxes]
        has_line = len(self._line_nodes) > 1
        prior_v = line_sd**-2.0 if has_line else np.full(len(curvature), np.inf)
        share = curvature / (curvature + prior_v) if has_line else np.zeros_like(curvature)
        if len(self._box_nodes) > 1:
            spread_u = (g.sum(curvature * (1.0 - share)) + box_sd**-2.0) ** -0.5
            away = self._box_nodes[:, None] * spread_u
            u = modes.u[boxes] + away
            log_wu = self._box_log_weights[:, None] + np.log(spread_u / box_sd) - 0.5 * (u / box_sd) ** 2
        else:
            away = u = log_wu = np.zeros((1, g.n_boxes))
        if has_line:
            spread_v = (curvature + prior_v) ** -0.5
            lean: Array = (modes.v[lines] - share * away[:, g.box]).astype(kind)
            v = lean + (self._line_nodes[:, None] * spread_v)[:, None, :].astype(kind)
            log_wv = np.log(spread_v / line_sd)
        else:
            v, log_wv = np.zeros((1, u.shape[0], len(curvature)), dtype=kind), np.zeros(len(curvature))
        return Nodes(v + (u[:, g.box] + eta[lines]).astype(kind), u, v, log_wu, log_wv)

    def _line_log_density(self, v: Array, line_sd: float | Array) -> Array:
        """Return the log density of line effects at nodes, without constants; 0 where there is no such effect."""
        if len(self._line_nodes) == 1:
            return np.zeros_like(v)
        scaled = v * (np.sqrt(0.5) / np.asarray(line_sd)).astype(v.dtype)
        return np.asarray(-(scaled**2))

    def value(self, eta: Array, setting: Setting) -> Array:
        """Return the integrated log likelihood of each box, (boxes,)."""
        modes = self._find_modes(eta, setting)
        line_sd = setting.by_line(len(eta))[0]
        total = np.empty(self._grouping.n_boxes)
        for piece, c in zip(self._pieces, self._value_c, strict=True):
            nodes = self._nodes(eta, setting.box_sd, line_sd, modes, piece, self._value_type)
            own_sd, delta, h0 = (self._of_piece(x, piece) for x in setting[1:4])
            by_line = value(nodes.shifted, c, delta, h0)
            by_line += self._line_log_density(nodes.v, own_sd)
            given_box = _log_average(by_line, self._line_weights) + nodes.log_wv
            strays = self._strays_of(piece)
            if strays is not None:
                given_box, _ = mixed_lines(given_box, strays)
            clock = _log_sum(piece.grouping.sum(given_box) + nodes.log_wu)
            total[piece.boxes] = (
                clock if strays is None else mixed_boxes(clock, strays, _of_boxes(setting, piece)).value
            )
        return total

    def _strays_of(self, piece: "Piece") -> Strays | None:
        return None if self._strays is None else self._strays.part(piece.boxes, piece.lines)

    def _of_piece(self, x: float | Array, piece: "Piece") -> Array:
        return self._of_kind(np.asarray(x if np.ndim(x) == 0 else np.asarray(x)[piece.lines]))

    def terms(self, eta: Array, setting: Setting) -> BoxTerms:
        """Return the integrated log likelihood with its derivatives."""
        modes = self._find_modes(eta, setting)
        parts = [self._piece_terms(eta, setting, modes, piece) for piece in self._pieces]
        columns = zip(*parts, strict=True)
        return BoxTerms(
            *(
                np.concatenate(column) if isinstance(column[0], np.ndarray) else sum(column)  # type: ignore[arg-type]
                for column in columns
            )
        )

    def _piece_terms(self, eta: Array, setting: Setting, modes: Modes, piece: "Piece") -> BoxTerms:
        g, lines = piece.grouping, piece.lines
        line_sd, delta, h0 = setting.by_line(len(eta))
        nodes = self._nodes(eta, setting.box_sd, line_sd, modes, piece)
        line_sd, delta, h0 = line_sd[lines], delta[lines], h0[lines]
        if len(self._line_nodes) == 1:
            line_sd = np.ones_like(line_sd)
        t: Terms = terms(nodes.shifted, self._c[:, None, None, lines], delta, h0)
        log_wv = nodes.log_wv + self._line_log_density(nodes.v, line_sd) + self._line_log_weights[:, None, None]
        by_line = _log_sum(t.value + log_wv)
        wv = np.exp(t.value + log_wv - by_line)  # weights of a line's nodes given u

        def mean_v(x: Array) -> Array:
            result: Array = (wv * x).sum(axis=0)
            return result

        f_eta, f_delta = mean_v(t.eta), mean_v(t.delta)
        f_eta2 = mean_v(t.eta2 + t.eta**2) - f_eta**2
        f_delta2 = mean_v(t.delta2 + t.delta**2) - f_delta**2
        f_eta_delta = mean_v(t.eta_delta + t.eta * t.delta) - f_eta * f_delta
        f_h0, f_line_sd = mean_v(t.h0), mean_v((nodes.v / line_sd) ** 2) - 1.0
        strays = self._strays_of(piece)
        own = np.ones_like(by_line)  # the clock's share of a line given u
        if strays is not None:
            by_line, own = mixed_lines(by_line, strays)
            spread = own * (1.0 - own)
            f_eta2 = own * f_eta2 + spread * f_eta**2
            f_delta2 = own * f_delta2 + spread * f_delta**2
            f_eta_delta = own * f_eta_delta + spread * f_eta * f_delta
            f_eta, f_delta, f_h0, f_line_sd = own * f_eta, own * f_delta, own * f_h0, own * f_line_sd
        by_box = g.sum(by_line) + nodes.log_wu
        clock = _log_sum(by_box)
        wu = np.exp(by_box - clock)  # weights of a box's nodes
        w = wu[:, g.box]

        def mean_u(x: Array) -> Array:
            result: Array = (w * x).sum(axis=0)
            return result

        eta1 = mean_u(f_eta)
        box_delta = g.sum(f_delta)
        delta1 = (wu * box_delta).sum(axis=0)
        first, second = g.pair_first, g.pair_second
        pairs = ((w * f_eta)[:, first] * f_eta[:, second]).sum(axis=0) - eta1[first] * eta1[second]
        pairs += np.where(first == second, mean_u(f_eta2)[first], 0.0)
        eta_delta = mean_u(f_eta_delta) + mean_u(f_eta * box_delta[:, g.box]) - eta1 * delta1[g.box]
        delta2 = g.sum(mean_u(f_delta2)) + (wu * box_delta**2).sum(axis=0) - delta1**2
        box_sd = setting.box_sd[piece.boxes] if len(self._box_nodes) > 1 else np.ones(g.n_boxes)
        log_box_sd = (wu * (nodes.u / box_sd) ** 2).sum(axis=0) - 1.0
        value, by_clock, lost = clock, np.ones(g.n_boxes), 0.0
        if strays is not None:
            chance = _of_boxes(setting, piece)
            value, by_clock, _ = mixed_boxes(clock, strays, chance)
            # The derivative of the mixture in the chance, by shares of its parts; without any, by its limit.
            right = 1.0 - strays.rates.box
            lost = float((right * np.exp(strays.box_lost - value) - by_clock / (1.0 - chance)).sum())
        line_clock, spread_box = by_clock[g.box], by_clock * (1.0 - by_clock)
        pairs = line_clock[first] * pairs + spread_box[g.box[first]] * eta1[first] * eta1[second]
        return BoxTerms(
            value=value,
            eta=line_clock * eta1,
            delta=by_clock * delta1,
            eta2=pairs,
            eta_delta=line_clock * eta_delta + spread_box[g.box] * eta1 * delta1[g.box],
            delta2=by_clock * delta2 + spread_box * delta1**2,
            log_box_sd=by_clock * log_box_sd,
            log_line_sd=line_clock * mean_u(f_line_sd),
            h0=float((line_clock * mean_u(f_h0)).sum()),
            lost=lost,
            curvature=np.maximum(line_clock * mean_u(own) * modes.curvature[lines], LEAST_CURVATURE),
        )


def _of_boxes(setting: Setting, piece: Piece) -> float | Array:
    """Return the chance of a piece's boxes to be lost whole."""
    lost = setting.lost
    return lost[piece.boxes] if isinstance(lost, np.ndarray) and lost.ndim else lost


def _log_weights(n: int) -> tuple[Array, Array]:
    nodes, weights = normal_nodes(n)
    return nodes, np.log(weights) + 0.5 * nodes**2


def _log_average(x: Array, weights: Array) -> Array:
    """Return log of the weighted sum of exponentials along the first axis, in double precision."""
    peak = x.max(axis=0)
    flat = np.exp(x - peak).reshape(len(weights), -1)
    total = (weights.astype(x.dtype) @ flat).reshape(peak.shape)
    result: Array = np.log(total).astype(np.float64) + peak
    return result


def _log_sum(x: Array) -> Array:
    """Return log of the sum of exponentials along the first axis."""
    peak = x.max(axis=0)
    total: Array = np.log(np.exp(x - peak).sum(axis=0)) + peak
    return total
