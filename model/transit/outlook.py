"""How long a box that is not here yet will still take, given what is known of it, by exact truncation.

Without tracking notes the whole time in transit is conditioned on having lasted so long. Once a box has been seen in a
leg, only that leg and the later ones are open: their share of the time after the wait, counted from the beginning of
the leg, is what is conditioned; a box that was slow so far is not taken to be slow later. A hold in progress has lasted
so long and is conditioned by itself.
"""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import log_ndtr

from model.transit.delay import LEAST_SCORE, Delay, HoldDelay, drawn_score
from model.transit.transit import TransitTime
from model.transit.transit_body import HALF_LOG_TWO_PI, MOST_SCORE, TransitBody

Array = NDArray[np.float64]

# Cells of the table by which a wait is drawn, and groups of draws that share a wait once the box is late.
_WAIT_CELLS = 512
_WAIT_GROUPS = 32


class Uniforms(NamedTuple):
    """Uniforms in [0, 1) of body, delay yes or no, delay, and wait for papers; (draws,) each."""

    body: Array
    delayed: Array
    delay: Array
    wait: Array


class TimeAhead(NamedTuple):
    """Draws of what makes up the time from the last that is known to the opening, days, (draws,) each."""

    body: Array
    delay: Array
    wait: Array

    @property
    def total(self) -> Array:
        """All of it together."""
        return self.body + self.delay + self.wait


@dataclass(frozen=True)
class OpenJourney:
    """The part of a journey that is still open. Days count from closing the box.

    Attributes
    ----------
    transit : TransitTime
        Time from `since_days` to the opening, without `wait`; in a hold only its body counts.
    since_days : float
        Last moment that is known, with the holds since then that are over.
    wait : HoldDelay or None
        Wait for missing papers that is still to come; it comes for certain, whatever its share.
    held_since : float or None
        Beginning of a hold in progress.
    holds : tuple of HoldDelay or MissedFlights
        What the hold may be, each equally likely at its beginning; needed with `held_since`.
    """

    transit: TransitTime
    since_days: float = 0.0
    wait: HoldDelay | None = None
    held_since: float | None = None
    holds: tuple[Delay, ...] = ()

    def draw(self, elapsed_days: float, u: Uniforms) -> TimeAhead:
        """Return what is ahead given that the box is not opened `elapsed_days` after its closing.

        Body, delay and hold are drawn from their exact conditional distributions. A wait for papers is too (error of
        its distribution function below 1e-4); but where the box is late already, draws whose waits are alike (1 in 32)
        share the middle one.

        Raises
        ------
        ValueError
            When no box, or no hold, takes that long.
        """
        if self.held_since is not None:
            return self._draw_held(elapsed_days, self.held_since, u)
        elapsed = elapsed_days - self.since_days
        if self.wait is None:
            total, delay = self.transit.sample_given(elapsed, u.body, u.delayed, u.delay)
            return TimeAhead(total - delay, delay, np.zeros_like(total))
        return self._draw_waiting(elapsed, self.wait, u)

    def _draw_held(self, elapsed_days: float, held_since: float, u: Uniforms) -> TimeAhead:
        lasted = elapsed_days - held_since
        log_sf = np.array([float(hold.log_sf(lasted)) for hold in self.holds])
        if not np.any(log_sf > -np.inf):
            raise ValueError("holds: none takes that long")
        # A hold that would be over by now is out; the others count with the chance that they last so long.
        weight = np.exp(log_sf - np.max(log_sf))
        kind = np.searchsorted(np.cumsum(weight)[:-1] / np.sum(weight), u.delayed, side="right")
        delay = np.full(kind.shape, lasted)
        for i, hold in enumerate(self.holds):
            of_kind = kind == i
            delay[of_kind] = hold.days_at_log_sf(np.log1p(-u.delay[of_kind]) + log_sf[i])
        # Before the hold the box had not arrived: its own time goes beyond that, the hold apart.
        body, before = self.transit.body, held_since - self.since_days
        spent = body.quantile_above(u.body, before) if before < body.longest_days else np.full(kind.shape, before)
        wait = np.zeros(kind.shape) if self.wait is None else self.wait.draw(u.wait)
        return TimeAhead(spent, np.maximum(delay, lasted), wait)

    def _draw_waiting(self, elapsed: float, papers: HoldDelay, u: Uniforms) -> TimeAhead:
        wait = draw_wait(papers, self.transit, elapsed, u.wait)
        total, delay = np.zeros(wait.shape), np.zeros(wait.shape)
        late = elapsed - wait > self.transit.body.minimum_days
        total[~late], delay[~late] = self.transit.sample(u.body[~late], u.delayed[~late], u.delay[~late])
        order = np.flatnonzero(late)
        order = order[np.argsort(wait[order], kind="stable")]
        for group in np.array_split(order, min(_WAIT_GROUPS, order.size)) if order.size else ():
            wait[group] = wait[group[group.size // 2]]
            total[group], delay[group] = self.transit.sample_given(
                elapsed - float(wait[group[0]]), u.body[group], u.delayed[group], u.delay[group]
            )
        return TimeAhead(total - delay, delay, wait)


def body_ahead(body: TransitBody, share: float, wait_days: float) -> TransitBody:
    """Return the distribution of the share of the time after the wait: share x (body - wait_days), exactly.

    Parameters
    ----------
    body : TransitBody
    share : float
        Above 0, at most 1.
    wait_days : float
        Taken as the body's minimum at most.
    """
    wait = min(wait_days, body.minimum_days)
    minimum = share * (body.minimum_days - wait)
    if body.on_log:
        # The curve is one of log(T - minimum), which a factor shifts.
        return replace(body, location=body.location + float(np.log(share)), minimum_days=minimum)
    return replace(body, location=share * (body.location - wait), scale=share * body.scale, minimum_days=minimum)


def draw_wait(wait: HoldDelay, transit: TransitTime, elapsed_days: float, u: ArrayLike) -> Array:
    """Return the wait in days at cumulative chance u in [0, 1), given that transit + wait > elapsed_days.

    Inverts the conditional distribution function, in 512 cells of the wait's score and exactly beyond elapsed_days less
    the least time in transit; error of the distribution function below 1e-4.
    """
    room = elapsed_days - transit.body.minimum_days
    if room <= 0:
        return wait.draw(u)
    top = float(np.clip(wait.score(room), LEAST_SCORE, MOST_SCORE))
    score = np.linspace(LEAST_SCORE, top, _WAIT_CELLS + 1)
    log_density = transit.log_sf(elapsed_days - wait.days(score)) - 0.5 * score**2 - HALF_LOG_TWO_PI
    # A wait above the last edge makes the box late whatever its time in transit.
    return wait.days(drawn_score(u, score, log_density, float(log_ndtr(-top))))
