"""Whether the newest boxes of a seller came as if its plants now lasted half as long, given all other boxes.

Told is the likelihood ratio of that fall to no change, which no test of the two beats (Neyman & Pearson 1933). Draws
given all boxes count as much as 1 / p(newest boxes | draw) for the fit without them; the largest weights are
Pareto-smoothed, as in `model.fit.leave_one_out`. Where few draws then count, which is where those boxes say much, they
are left out in earnest, for the sellers most likely to have fallen: a fit more for each.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from app.serving import NEWEST, SellerFalls
from model.fit import (
    RATES,
    ConvergenceError,
    Observations,
    Observed,
    box_log_likelihoods,
    effective_draws,
    leave_one_out,
)
from model.predict import PosteriorDraws
from model.reference import CONSTANTS

Array = NDArray[np.float64]
Indices = NDArray[np.intp]
Fit = Callable[[Observations], PosteriorDraws]

# As many as tell a log ratio to a few hundredths.
FALL_DRAWS = 2048
# Sellers at once, for the memory of their draws.
PIECE = 50
# A fit more takes as long as the fit itself: so many at most, of ledgers so small.
MOST_FITS, MOST_LINES = 2, 1000
# Rough log ratios are off by about one.
WORTH_A_FIT = float(np.log(CONSTANTS.fall_likelier_two_boxes)) - 1.0


class FallEvidence(NamedTuple):
    """The log likelihood ratio of a fall to no change, of some newest boxes together, given all other boxes.

    `sure`: whether enough draws tell it.
    """

    log_ratio: float
    sure: bool


class _Sides(NamedTuple):
    """Log probability of the counts of boxes, the newest first, under each draw, (draws, boxes) each."""

    as_fitted: Array
    fallen: Array
    as_ever: Array

    def of(self, boxes: Indices | slice) -> "_Sides":
        return _Sides(*(side[:, boxes] for side in self))


def seller_falls(
    observed: Observed, shipped: NDArray[np.datetime64], draws: PosteriorDraws, *, fit: Fit
) -> SellerFalls:
    """Return the falls of all sellers with boxes enough, where enough draws tell them.

    Parameters
    ----------
    observed : Observed
        The boxes that the draws were fitted to.
    shipped : (boxes,)
        Ship dates: the newest boxes are those shipped last.
    draws : PosteriorDraws
    fit : callable
        Fits boxes anew.
    """
    newest = newest_boxes(observed.observations, shipped)
    names = list(newest)
    found: dict[str, tuple[FallEvidence, ...]] = {}
    for start in range(0, len(names), PIECE):
        piece = names[start : start + PIECE]
        boxes = np.sort(np.concatenate([newest[name] for name in piece]))
        sides = _sides(observed.of_boxes(boxes), draws)
        found |= {name: _by_fit_of_all(sides.of(np.searchsorted(boxes, newest[name]))) for name in piece}
    rough = [name for name in names if worth_a_fit(found[name])]
    rough.sort(key=lambda name: -max(fall.log_ratio for fall in found[name]))
    if len(observed.observations) <= MOST_LINES:
        for name in rough[:MOST_FITS]:
            found[name] = by_fit_of_others(observed, newest[name], fit) or found[name]
    told = {name: falls for name, falls in found.items() if all(fall.sure for fall in falls)}
    return {name: tuple(fall.log_ratio for fall in falls) for name, falls in told.items()}


def newest_boxes(observations: Observations, shipped: NDArray[np.datetime64]) -> dict[str, Indices]:
    """Return the last boxes of each named seller with boxes enough, the newest first."""
    first = np.unique(observations.box, return_index=True)[1]  # a box has one seller
    seller, order = observations.codes["seller"][first], np.argsort(shipped, kind="stable")[::-1]
    own = {str(name): order[seller[order] == code] for code, name in enumerate(observations.levels["seller"])}
    return {name: boxes[: max(NEWEST)] for name, boxes in own.items() if len(boxes) >= CONSTANTS.fall_least_boxes}


def by_fit_of_all(observed: Observed, newest: Indices, draws: PosteriorDraws) -> tuple[FallEvidence, ...]:
    """Return the falls of one seller by draws fitted to its newest boxes too.

    Parameters
    ----------
    observed : Observed
    newest : (boxes,)
        Which boxes, the newest first.
    draws : PosteriorDraws
    """
    return _by_fit_of_all(_newest_sides(observed, newest, draws))


def by_fit_of_others(observed: Observed, newest: Indices, fit: Fit) -> tuple[FallEvidence, ...] | None:
    """Return the falls of one seller by a fit without its newest boxes; None if there is none. Parameters as above."""
    others = np.setdiff1d(np.arange(observed.observations.n_boxes), newest)
    try:
        draws = fit(observed.of_boxes(others).observations)
    except ConvergenceError:
        return None  # the fit of all boxes stands; this one is beside it
    sides = _newest_sides(observed, newest, draws)
    # A box that is not among the newest of a ratio counts as one of the others.
    found = []
    for n in NEWEST:
        older, own = sides.as_fitted[:, n:].sum(axis=1), sides.of(slice(n))
        log_p = [special.logsumexp(older + side.sum(axis=1)) for side in (own.fallen, own.as_ever)]
        found.append(FallEvidence(float(log_p[0] - log_p[1]), sure=True))
    return tuple(found)


def worth_a_fit(falls: Sequence[FallEvidence]) -> bool:
    """Whether a fit more may tell a fall that draws of the fit of all boxes cannot."""
    return not all(fall.sure for fall in falls) and max(fall.log_ratio for fall in falls) > WORTH_A_FIT


def after_fall(observed: Observed) -> Observed:
    """Return boxes whose plants last `CONSTANTS.fall_time_ratio` times as long: as if they travelled so much longer."""
    own = observed.observations
    return observed._replace(observations=replace(own, exposure=own.exposure.longer(1.0 / CONSTANTS.fall_time_ratio)))


def _newest_sides(observed: Observed, newest: Indices, draws: PosteriorDraws) -> _Sides:
    boxes = np.sort(newest)
    return _sides(observed.of_boxes(boxes), draws).of(np.searchsorted(boxes, newest))


def _sides(boxes: Observed, draws: PosteriorDraws) -> _Sides:
    some = draws.take(np.arange(min(FALL_DRAWS, draws.n_draws)))
    # The fit let records be wrong; a fall is judged by records that are right.
    return _Sides(
        box_log_likelihoods(boxes, some, wrong=RATES, for_weights=True),
        box_log_likelihoods(after_fall(boxes), some, for_weights=True),
        box_log_likelihoods(boxes, some, for_weights=True),
    )


def _by_fit_of_all(sides: _Sides) -> tuple[FallEvidence, ...]:
    found = []
    for n in NEWEST:
        as_fitted, fallen, as_ever = (side[:, :n].sum(axis=1, keepdims=True) for side in sides)
        without = leave_one_out(as_fitted, np.array([True]))
        log_ratio = without.log_mean(fallen) - without.log_mean(as_ever)
        # The ratio is as sure as the draws that bear it, after a fall and without one.
        least = min(effective_draws(without.log_weights + side) for side in (fallen, as_ever))
        sure = not without.rough[0] and least >= CONSTANTS.fall_least_draws
        found.append(FallEvidence(float(log_ratio[0]), sure=bool(sure)))
    return tuple(found)
