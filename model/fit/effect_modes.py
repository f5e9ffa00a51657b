"""Joint modes of a box's shipment effect u and its line effects v, about which the quadrature's nodes sit.

Newton's steps for all boxes at once. Most boxes settle in a few; those left (all plants dead, a line that contradicts
its box) go on by themselves.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from model.exposure import Indices
from model.fit.grouping import Grouping
from model.fit.likelihood import slopes, value
from model.fit.strays import Strays, mixed_lines

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

MODE_STEPS = 40
# Beyond so many steps a longer last one will do, up to this many sds: a box between two explanations creeps on.
PATIENT_STEPS, LEAST_EXACT = 8, 0.05
# Boxes left go on by themselves once they are no more than this share.
FEW_LEFT = 0.5
LARGEST_STEP = 2.0
LEAST_CURVATURE = 1e-6
# Log hazard at which some plants still live.
LIVING = 2.0


class Modes(NamedTuple):
    """Joint mode of a box's effects: u (boxes,), v (lines,), and the curvature of the likelihood there (lines,)."""

    u: Array
    v: Array
    curvature: Array


@dataclass(frozen=True, eq=False)
class EffectPosterior:
    """The posterior of the effects of some boxes.

    Attributes
    ----------
    grouping : Grouping
    c : (5, lines)
        Coefficients of the counts.
    strays : Strays or None
    eta, delta, h0 : (lines,)
    box_precision, line_precision : (boxes,), (lines,)
        Of the effects' prior; None where there is no such effect.
    """

    grouping: Grouping
    c: Array
    strays: Strays | None
    eta: Array
    delta: Array
    h0: Array
    box_precision: Array | None
    line_precision: Array | None

    def of_boxes(self, boxes: Mask) -> "EffectPosterior":
        """Return that of some boxes alone."""
        lines = boxes[self.grouping.box]
        number = np.cumsum(boxes) - 1
        return EffectPosterior(
            Grouping.of(number[self.grouping.box[lines]]),
            self.c[:, lines],
            None if self.strays is None else self.strays.part(boxes, lines),
            self.eta[lines],
            self.delta[lines],
            self.h0[lines],
            None if self.box_precision is None else self.box_precision[boxes],
            None if self.line_precision is None else self.line_precision[lines],
        )

    def start(self) -> tuple[Array, Array]:
        """Return effects to start from, (boxes,) and (lines,).

        Newton's steps shorten a hazard by no more than a factor of e: where the clock says that all are long dead and
        some plants live, the start is where they would.
        """
        g = self.grouping
        u = np.zeros(g.n_boxes, dtype=self.eta.dtype)
        if self.box_precision is not None:
            alive = self.c[0] + self.c[2] > 0.0
            most = np.maximum.reduceat(np.where(alive, self.eta, -np.inf), g.starts)
            u = -np.maximum(most - LIVING, 0.0) / (1.0 + self.box_precision)
        return u, np.zeros_like(self.eta)

    def curvatures(self, u: Array, v: Array) -> tuple[Array, Array]:
        """Return slope and curvature of each line's likelihood, (lines,) each, by its share of the clock."""
        at = self.eta + u[self.grouping.box] + v
        slope, second = slopes(at, self.c, self.delta, self.h0)
        curvature = np.maximum(-second, LEAST_CURVATURE)
        if self.strays is None:
            return slope, curvature
        # A line that contradicts its box is no longer followed; from 0 on, so that it does not lead at first.
        given_box = value(at, self.c, self.delta, self.h0)
        if self.line_precision is not None:
            given_box = given_box - 0.5 * (v**2 * self.line_precision + np.log(1.0 + curvature / self.line_precision))
        own = mixed_lines(given_box, self.strays)[1]
        return own * slope, np.maximum(own * curvature, LEAST_CURVATURE)


def find_modes(posterior: EffectPosterior, tolerance: float, start: Modes | None = None) -> Modes:
    """Return the modes; steps start where other modes were and end when none is longer than `tolerance`.

    That is in sds of an effect given the counts.
    """
    u, v = posterior.start() if start is None else (start.u, start.v)
    if posterior.box_precision is None and posterior.line_precision is None:
        second = slopes(posterior.eta, posterior.c, posterior.delta, posterior.h0)[1]
        return Modes(u, v, np.maximum(-second, LEAST_CURVATURE))
    modes = Modes(u.copy(), v.copy(), np.empty_like(v))
    boxes, lines = np.arange(len(u)), np.arange(len(v))
    search = _Search.of(posterior, u, v)
    left = np.ones(len(u), dtype=bool)
    for step in range(MODE_STEPS):
        search.step(left)
        enough = min(tolerance * 2.0 ** (max(step - PATIENT_STEPS, 0) / 2.0), max(tolerance, LEAST_EXACT))
        left &= (search.moved >= enough**2) | (step == 0)
        n_left = int(left.sum())
        if n_left == 0:
            break
        if n_left <= FEW_LEFT * len(boxes):
            search.note(modes, boxes, lines)
            own = left[search.posterior.grouping.box]
            boxes, lines, search = boxes[left], lines[own], search.of_boxes(left, own)
            left = left[left]
    search.note(modes, boxes, lines)
    return modes


@dataclass(eq=False)
class _Search:
    """Where the steps of some boxes have come; `moved`, (boxes,), is the square of the last one's length."""

    posterior: EffectPosterior
    u: Array
    v: Array
    curvature: Array
    moved: Array
    reach_u: Array
    reach_v: Array
    last_u: Array
    last_v: Array

    @classmethod
    def of(cls, posterior: EffectPosterior, u: Array, v: Array) -> "_Search":
        reach = np.full_like(u, LARGEST_STEP), np.full_like(v, LARGEST_STEP)
        none = np.zeros_like(u), np.zeros_like(v)
        return cls(posterior, u, v, none[1], np.full_like(u, np.inf), *reach, *none)

    def of_boxes(self, boxes: Mask, lines: Mask) -> "_Search":
        of_box = (self.u, self.moved, self.reach_u, self.last_u)
        of_line = (self.v, self.curvature, self.reach_v, self.last_v)
        u, moved, reach_u, last_u = (part[boxes] for part in of_box)
        v, curvature, reach_v, last_v = (part[lines] for part in of_line)
        posterior = self.posterior.of_boxes(boxes)
        return _Search(posterior, u, v, curvature, moved, reach_u, reach_v, last_u, last_v)

    def note(self, modes: Modes, boxes: Indices, lines: Indices) -> None:
        """Write where these boxes have come into the modes of all."""
        modes.u[boxes], modes.v[lines], modes.curvature[lines] = self.u, self.v, self.curvature

    def step(self, left: Mask) -> None:
        """Take one step of Newton in the boxes that are left; the others stay, so that no box depends on others."""
        p, g, u, v = self.posterior, self.posterior.grouping, self.u, self.v
        slope, curvature = p.curvatures(u, v)
        du, dv, moved = np.zeros_like(u), np.zeros_like(v), np.zeros_like(u)
        tight, share, slope_v = curvature, np.zeros_like(v), np.zeros_like(v)
        if p.line_precision is not None:
            tight = curvature + p.line_precision
            share, slope_v = curvature / tight, slope - v * p.line_precision
        if p.box_precision is not None:
            schur = g.sum(curvature * (1.0 - share)) + p.box_precision
            du = (g.sum(slope - share * slope_v) - u * p.box_precision) / schur
            du = np.minimum(np.maximum(du, -self.reach_u), self.reach_u)
            moved = du**2 * schur
        if p.line_precision is not None:
            dv = (slope_v - curvature * du[g.box]) / tight
            dv = np.minimum(np.maximum(dv, -self.reach_v), self.reach_v)
            moved = np.maximum(moved, np.maximum.reduceat(dv**2 * tight, g.starts))
        lines = left[g.box]
        du, dv, curvature = (
            np.where(left, du, 0.0),
            np.where(lines, dv, 0.0),
            np.where(lines, curvature, self.curvature),
        )
        # Lines all dead are nearly flat beside their mode and steep before it: steps would go to and fro for ever.
        self.reach_u[du * self.last_u < 0] *= 0.5
        self.reach_v[dv * self.last_v < 0] *= 0.5
        self.u, self.v, self.curvature, self.moved = u + du, v + dv, curvature, moved
        self.last_u, self.last_v = du, dv
