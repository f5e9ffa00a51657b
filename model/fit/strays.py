"""Boxes and records that the clock does not speak of: boxes lost whole, and records that are simply wrong.

    log L_box = log((1 - e) ((1 - p) exp(clock) + p exp(lost)) + e exp(any))
    log L_line = log((1 - e') exp(clock) + e' exp(any))

`lost`: the box died of something no clock knows (forgotten in a warehouse, frozen on an apron), each of its plants with
the same chances. `any`: the record says nothing of the clock (a month off, Fahrenheit, healthy and dead swapped), so
its counts are as likely as any others: shares uniform on the simplex, a Dirichlet-multinomial. So a box or a line that
contradicts all others moves the fit by no more than what it costs to be a stray (Box 1980 on mixtures as robustness;
Dirichlet-multinomial: Mosimann 1962, Biometrika 49:65).

Like the clock's log likelihood, all are without multinomial coefficients, which no parameter changes.
"""

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from model.fit.observations import Observations
from model.reference import CONSTANTS

Array = NDArray[np.float64]
Indices = NDArray[np.intp]


class StrayRates(NamedTuple):
    """Judged chances, each 0 to 1.

    Attributes
    ----------
    box, line : float
        That the record of a box, or of a line, is wrong; 0: it never is.
    healthy, dead : float
        Chances of a plant in a box lost whole.
    """

    box: float
    line: float
    healthy: float
    dead: float


RATES = StrayRates(
    box=CONSTANTS.wrong_box_share,
    line=CONSTANTS.wrong_line_share,
    healthy=CONSTANTS.lost_healthy,
    dead=CONSTANTS.lost_dead,
)


class Strays(NamedTuple):
    """Log likelihoods of boxes and lines as strays, and how likely they are to be some.

    Attributes
    ----------
    rates : StrayRates
    box_lost, box_any : (boxes,)
    line_any : (lines,)
    """

    rates: StrayRates
    box_lost: Array
    box_any: Array
    line_any: Array

    @classmethod
    def of(cls, observations: Observations, rates: StrayRates) -> "Strays":
        """Return the strays' likelihoods of a ledger, whose boxes ascend line by line."""
        counts = np.stack([observations.healthy, observations.damaged, observations.dead], axis=1)
        sent, box = observations.sent, observations.box
        known = _known(counts)
        shares = np.array([rates.healthy, 1.0 - rates.healthy - rates.dead, rates.dead])
        by_line = np.zeros(len(sent))
        box_any = np.zeros(observations.n_boxes)
        for states in known.values():
            cells = states.cells(counts, sent)
            by_line += np.where(states.rows, cells @ np.log(states.of_shares(shares)), 0.0)
            box_any += _uniform(np.stack([_by_box(np.where(states.rows, cell, 0.0), box) for cell in cells.T], axis=1))
        line_any = np.zeros(len(sent))
        for states in known.values():
            line_any = np.where(states.rows, _uniform(states.cells(counts, sent)), line_any)
        return cls(rates, _by_box(by_line, box), box_any, line_any)

    def tiled(self, n: int) -> "Strays":
        """Return the strays of n copies of the ledger."""
        return Strays(self.rates, *(np.tile(array, n) for array in self[1:]))

    def as_kind(self, kind: type[np.floating[Any]]) -> "Strays":
        """Return the same as numbers of a kind."""
        arrays: list[Any] = [array.astype(kind, copy=False) for array in self[1:]]
        return Strays(self.rates, *arrays)

    def part(self, boxes: slice | NDArray[np.bool_], lines: slice | NDArray[np.bool_]) -> "Strays":
        """Return those of some boxes and their lines."""
        return Strays(self.rates, self.box_lost[boxes], self.box_any[boxes], self.line_any[lines])


class MixedBoxes(NamedTuple):
    """Boxes with strays among them: log likelihood, share of the clock and of `lost` in it, (boxes,) each."""

    value: Array
    clock: Array
    lost: Array


def mixed_boxes(clock: Array, strays: Strays, lost_chance: float | Array) -> MixedBoxes:
    """Mix the clock's log likelihood of each box, (boxes,), with those of strays; `lost_chance` scalar or (boxes,)."""
    with np.errstate(divide="ignore"):
        parts = np.stack(
            np.broadcast_arrays(
                np.log1p(-strays.rates.box) + np.log1p(-lost_chance) + clock,
                np.log1p(-strays.rates.box) + np.log(lost_chance) + strays.box_lost,
                np.log(strays.rates.box) + strays.box_any,
            )
        )
    value = np.logaddexp.reduce(parts)
    share = np.exp(parts - value)
    return MixedBoxes(value, share[0], share[1])


def mixed_lines(clock: Array, strays: Strays) -> tuple[Array, Array]:
    """Mix the clock's log likelihood of each line, (..., lines), with that of a wrong one; and the clock's share."""
    rate = strays.rates.line
    if rate == 0.0:
        return clock, np.ones_like(clock)
    own, other = float(np.log1p(-rate)) + clock, float(np.log(rate)) + strays.line_any
    lesser = np.exp(-np.abs(own - other))
    both = 1.0 + lesser
    return np.maximum(own, other) + np.log(both), np.where(own >= other, 1.0, lesser) / both


def _by_box(by_line: Array, box: Indices) -> Array:
    """Add lines up by box, (boxes,)."""
    total: Array = np.bincount(box, by_line).astype(np.float64)
    return total


class _States(NamedTuple):
    """Lines of which the same states are known."""

    rows: NDArray[np.bool_]
    kind: str

    def cells(self, counts: Array, sent: Array) -> Array:
        """Return the counts of the states that are told apart, (lines, states); of other lines 0."""
        h, m, d = counts.T
        columns = {"three": (h, m, d), "healthy": (h, sent - h), "dead": (sent - d, d)}[self.kind]
        return np.where(self.rows[:, None], np.stack(columns, axis=1), 0.0)

    def of_shares(self, shares: Array) -> Array:
        h, m, d = shares
        return np.array({"three": (h, m, d), "healthy": (h, m + d), "dead": (h + m, d)}[self.kind])


def _known(counts: Array) -> dict[str, _States]:
    known = ~np.isnan(counts)
    three = known[:, 0] & known[:, 1] & known[:, 2]
    rows = {"three": three, "healthy": known[:, 0] & ~three, "dead": known[:, 2] & ~known[:, 0]}
    return {kind: _States(own, kind) for kind, own in rows.items()}


def _uniform(cells: Array) -> Array:
    """Return the log likelihood of counts, (n, states), when all shares are equally likely beforehand, (n,)."""
    n = cells.shape[1]
    total: Array = (
        special.gammaln(n) + special.gammaln(cells + 1.0).sum(axis=1) - special.gammaln(cells.sum(axis=1) + n)
    )
    return total
