"""What tracking notes say of a box on its way: the leg it is in and since when, and whether it is held up.

The first note that names a leg marks its beginning; a later one that names an earlier leg sends the box back there. A
hold ends with its release, or when the box is seen in another leg.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from model.exposure.journey import DEFAULT_WAIT_H, WAIT_LEG
from model.reference import Leg

Array = NDArray[np.float64]

HELD, RELEASED = "held", "released"


@dataclass(frozen=True)
class Tracked:
    """Where a box is known to be. Days count from closing the box.

    Attributes
    ----------
    starts : tuple of (leg, days)
        Legs that it has been seen in, by their index, and when each began; the last is the one it is in. Empty when no
        note names a leg.
    held_since : float or None
        Beginning of a hold that has not ended.
    held_days : float
        Time spent in holds of the leg it is in (of the whole journey where no leg is known) that are over.
    """

    starts: tuple[tuple[int, float], ...] = ()
    held_since: float | None = None
    held_days: float = 0.0

    @property
    def leg(self) -> int | None:
        """Index of the leg it is in; None when no note names one."""
        return self.starts[-1][0] if self.starts else None

    @property
    def since_days(self) -> float:
        """When that leg began; 0 when none is known."""
        return self.starts[-1][1] if self.starts else 0.0

    @property
    def was_held(self) -> bool:
        """Whether a hold of this leg is over."""
        return self.held_days > 0


def track(notes: Iterable[tuple[float, str]], leg_of: Mapping[str, int]) -> Tracked:
    """Return what notes say together.

    Parameters
    ----------
    notes : iterable of (days, kind)
        In order of time, days from closing the box; times before the closing count as the closing.
    leg_of : mapping of kind to leg
        Which kinds name a leg, by its index; other kinds than these, "held" and "released" say nothing.
    """
    tracked = Tracked()
    for noted_days, kind in notes:
        days = max(noted_days, 0.0)
        if kind == HELD and tracked.held_since is None:
            tracked = replace(tracked, held_since=days)
        elif kind == RELEASED and tracked.held_since is not None:
            spent = tracked.held_days + days - tracked.held_since
            tracked = replace(tracked, held_since=None, held_days=spent)
        elif kind in leg_of and leg_of[kind] != tracked.leg:
            leg = leg_of[kind]
            before = tuple(start for start in tracked.starts if start[0] < leg)
            tracked = Tracked((*before, (leg, days)))
    return tracked


def share_ahead(legs: Sequence[Leg], leg: int) -> float:
    """Return the share of the time after the wait that the legs from `leg` on take together."""
    return sum(row.share for row in legs[leg:] if row.leg != WAIT_LEG)


def tracked_ends(
    legs: Sequence[Leg],
    tracked: Tracked,
    ahead_days: Array,
    *,
    added_days: Mapping[str, Array],
    wait_h: float = DEFAULT_WAIT_H,
) -> Array:
    """Return the hour at which each leg ends, (legs, journeys), for a box that has been seen in a leg.

    Parameters
    ----------
    legs : sequence of Leg
        In order, the wait first.
    tracked : Tracked
        With a known leg. Legs between two known moments share the time between them.
    ahead_days : (journeys,)
        From the beginning of the known leg to the end of the last, without `added_days`; the legs share it.
    added_days : mapping of leg name to (journeys,)
        Delays on top of it, each in its leg, none in a leg that is over.
    wait_h : float
        Capped at half of the time to the first known moment.

    Raises
    ------
    ValueError
        When no leg is known.
    """
    if tracked.leg is None:
        raise ValueError("tracked: no leg is known")
    durations = np.zeros((len(legs), len(ahead_days)))
    first_h = 24.0 * tracked.starts[0][1]
    durations[0] = min(wait_h, 0.5 * first_h)
    begun, begun_h = 1, float(durations[0, 0])
    for leg, days in tracked.starts:
        shares = np.array([row.share for row in legs[begun:leg]])
        if shares.size:
            durations[begun:leg] = (max(24.0 * days - begun_h, 0.0) * shares / shares.sum())[:, None]
        begun, begun_h = leg, max(24.0 * days, begun_h)
    shares = np.array([row.share for row in legs[begun:]])
    durations[begun:] = 24.0 * ahead_days * (shares / shares.sum())[:, None]
    names = [row.leg for row in legs]
    for name, added in added_days.items():
        durations[names.index(name)] += 24.0 * added
    ends: Array = np.cumsum(durations, axis=0)
    return ends
