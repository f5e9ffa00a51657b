"""Legs + weather + transit draws -> exposure draws.

A journey is a chain of legs. The wait before pick-up is fixed; the other legs share the remaining time; delays lengthen
the leg in which they happen. Each hour has one leg, taken at its middle: its outside air is the street's, drawn towards
the leg's hold temperature (or the day's mean) as far as the leg is sheltered.

Air and rates are followed in single precision, which moves equivalent days by less than 1e-6 of themselves and takes
two thirds of the time on a processor without wide vectors; damage is added up in double.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from model.exposure.box import PACK_FREEZES_C, Box, mean_weight
from model.exposure.damage import ClockDraws, ExposureClock, SingleArray
from model.reference import CONSTANTS, Leg

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

WAIT_LEG = "wait"
DEFAULT_WAIT_H = CONSTANTS.wait_h
SAMPLED_DRAWS = 128
# Journey-hours taken at once: enough to outweigh the cost of a call, few enough to stay in the cache.
BLOCK_SIZE = 32_768
LONGEST_BLOCK_H = 96
# Journeys followed side by side, for the same reason.
MOST_AT_ONCE = 4096


@dataclass(frozen=True, slots=True, eq=False)
class StreetAir:
    """Hourly outside air of one place along a journey: mean (hours,), swing (hours,), anomaly rows (days, draws)."""

    mean_c: Array
    swing_c: Array
    day: Indices
    anomaly_c: Array


@dataclass(frozen=True, slots=True, eq=False)
class Exposure:
    """What the plants of each genus went through; draw axis last.

    Attributes
    ----------
    equivalent_days, chill_dose_days : (genera, journeys)
    inside_c : (sampled hours,)
        Temperatures inside, hour by hour, of a regular sample of the journeys.
    inside_hour : (sampled hours,) int
        The hour since closing that each of them is of, from 0.
    pack_froze : (journeys,) bool
        Whether the heat pack stopped because it froze.
    mean_inside_c, coldest_inside_c : (journeys,)
        What a logger in the box would tell: the mean over its hours and the coldest of them.
    """

    equivalent_days: Array
    chill_dose_days: Array
    inside_c: Array
    inside_hour: Indices
    pack_froze: NDArray[np.bool_]
    mean_inside_c: Array
    coldest_inside_c: Array


def leg_ends(
    legs: Sequence[Leg],
    total_days: Array,
    *,
    added_days: dict[str, Array | float],
    wait_h: float = DEFAULT_WAIT_H,
) -> Array:
    """Return the hour at which each leg ends, shape (legs, journeys).

    Parameters
    ----------
    legs : sequence of Leg
        In order; a leg named "wait" is fixed, the others share the rest by their `share`.
    total_days : (journeys,)
        Closing to opening, without `added_days`.
    added_days : mapping of leg name to days
        Delays, each in its leg, on top of `total_days`.
    wait_h : float
        Capped at half of the total.
    """
    wait = np.minimum(wait_h, 12.0 * total_days)
    rest = 24.0 * total_days - wait
    durations = np.stack([wait if leg.leg == WAIT_LEG else leg.share * rest for leg in legs])
    names = [leg.leg for leg in legs]
    for name, days in added_days.items():
        durations[names.index(name)] += 24.0 * np.asarray(days)
    ends: Array = np.cumsum(durations, axis=0)
    return ends


def expose(
    legs: Sequence[Leg],
    ends_h: Array,
    streets: dict[str, StreetAir],
    box: Box,
    clock: ClockDraws,
    *,
    draw_of: Indices | None = None,
) -> Exposure:
    """Follow every journey hour by hour and add up the damage.

    Parameters
    ----------
    legs : sequence of Leg
    ends_h : (legs, journeys)
        From `leg_ends`.
    streets : mapping of "origin", "hub", "destination" to StreetAir
        At least as many hours as the longest journey, rounded up.
    box : Box
    clock : ClockDraws
        Parameters for each genus and draw.
    draw_of : (journeys,), optional
        The draw of weather and parameters that each journey belongs to; by default journeys are draws.
    """
    n = ends_h.shape[1]
    order = np.argsort(-ends_h[-1], kind="stable")  # the longest first: journeys still under way are a prefix
    back = np.empty(n, dtype=np.intp)
    back[order] = np.arange(n)
    hours = max(int(np.ceil(ends_h[-1].max())), 1)
    air = _air_tables(legs, streets, hours)
    parts = [
        _expose_sorted(ends_h[:, part], air, box, clock, part if draw_of is None else draw_of[part])
        for part in np.split(order, range(MOST_AT_ONCE, n, MOST_AT_ONCE))
    ]
    return Exposure(
        equivalent_days=np.concatenate([part.equivalent_days for part in parts], axis=1)[:, back],
        chill_dose_days=np.concatenate([part.chill_dose_days for part in parts], axis=1)[:, back],
        inside_c=np.concatenate([part.inside_c for part in parts]),
        inside_hour=np.concatenate([part.inside_hour for part in parts]),
        pack_froze=np.concatenate([part.pack_froze for part in parts])[back],
        mean_inside_c=np.concatenate([part.mean_inside_c for part in parts])[back],
        coldest_inside_c=np.concatenate([part.coldest_inside_c for part in parts])[back],
    )


def _expose_sorted(ends: Array, air: "_AirTables", box: Box, clock: ClockDraws, draw: Indices) -> Exposure:
    """Follow journeys that are sorted by duration, the longest first."""
    n = ends.shape[1]
    ends_h = ends.astype(np.float32)
    duration = ends_h[-1]
    hours = max(int(np.ceil(duration[0])), 1)
    own_air = air.of_draws(draw)
    accumulator = ExposureClock(
        ClockDraws(clock.log_q10[draw], clock.threshold_c[:, draw], clock.chill_per_day_c[:, draw])
    )
    inside, logged = _InsideAir(box, duration, hours), _Logged(n)
    every = max(n // SAMPLED_DRAWS, 1)
    sampled: list[SingleArray] = []
    sampled_hours: list[Indices] = []
    between = ends_h[:-1].min(axis=1), ends_h[:-1].max(axis=1)
    stop = 0
    while stop < hours:
        start = stop
        m = int(np.searchsorted(-duration, -start, side="left")) or n
        stop = min(start + min(max(BLOCK_SIZE // m, 1), LONGEST_BLOCK_H), hours)
        middle = np.arange(start, stop, dtype=np.float32)[:, None] + np.float32(0.5)
        mean = inside.follow(own_air.outside(ends_h[:, :m], between, start, stop), start)
        whole = int(np.searchsorted(-duration[:m], -stop, side="right"))
        counted = np.clip(duration[whole:m] - middle + 0.5, 0.0, 1.0)
        logged.add(mean, counted)
        accumulator.add(mean, counted if whole < m else None)
        within = middle + 0.5 <= np.maximum(duration[:m:every], 1.0)
        sampled.append(mean[:, ::every][within])
        sampled_hours.append(start + np.nonzero(within)[0])
    return Exposure(
        equivalent_days=accumulator.equivalent_days(),
        chill_dose_days=accumulator.chill_dose_days(),
        inside_c=np.concatenate(sampled).astype(np.float64),
        inside_hour=np.concatenate(sampled_hours),
        pack_froze=~inside.working,
        mean_inside_c=logged.mean_c(),
        coldest_inside_c=logged.coldest_c.astype(np.float64),
    )


class _Logged:
    """What a logger in each of n boxes would tell, over blocks of hours for a shrinking set of them."""

    def __init__(self, n: int) -> None:
        self.coldest_c = np.full(n, np.inf, dtype=np.float32)
        self._sum, self._hours = np.zeros(n), np.zeros(n)

    def add(self, inside_c: SingleArray, counted: SingleArray) -> None:
        """Add a block, (block, n), of the first n boxes; `counted` is the part of each hour for the last of them."""
        n, m = inside_c.shape[1], counted.shape[1]
        whole, ending = inside_c[:, : n - m], inside_c[:, n - m :]
        self.coldest_c[: n - m] = np.minimum(self.coldest_c[: n - m], whole.min(axis=0))
        self._sum[: n - m] += whole.sum(axis=0)
        self._hours[: n - m] += len(inside_c)
        if m:
            last = np.where(counted > 0, ending, np.float32(np.inf)).min(axis=0)
            self.coldest_c[n - m : n] = np.minimum(self.coldest_c[n - m : n], last)
            self._sum[n - m : n] += (ending * counted).sum(axis=0)
            self._hours[n - m : n] += counted.sum(axis=0)

    def mean_c(self) -> Array:
        """Return the mean over the hours so far, (n,)."""
        mean: Array = self._sum / self._hours
        return mean


class _InsideAir:
    """Air in the boxes of a shrinking set of journeys, hour by hour; each starts at its first outside air.

    `duration_h` is (journeys,), the longest first.
    """

    def __init__(self, box: Box, duration_h: SingleArray, hours: int) -> None:
        self._minus_duration_h = -duration_h
        self._decay = np.float32(box.decay())
        self._mean_weight = np.float32(mean_weight(box.time_constant_h))
        self._warming, self._cooling = (rise.astype(np.float32) for rise in box.rises_c(hours))
        self._now: SingleArray | None = None
        self.working = np.ones(len(duration_h), dtype=bool)

    def follow(self, outside_c: SingleArray, start: int) -> SingleArray:
        """Return the mean inside of each hour, (block, n), for outside air of the same shape, which is overwritten."""
        block, n = outside_c.shape
        now = outside_c[0].copy() if self._now is None else self._now[:n]
        outside_c += (self._warming + self._cooling)[start : start + block, None]
        # Air that starts above freezing and is drawn to air above it stays there.
        may_freeze = not self.working[:n].all() or min(now.min(), outside_c.min()) <= PACK_FREEZES_C
        for i in range(block):
            steady, hour = outside_c[i], start + i
            if may_freeze and self._warming[hour] > 0:
                self._stop_frozen(hour, now)
                if not self.working[:n].all():
                    steady -= self._warming[hour] * ~self.working[:n]
            now = now - steady
            mean = now * self._mean_weight
            mean += steady
            now *= self._decay
            now += steady
            steady[:] = mean
        self._now = now
        return outside_c

    def _stop_frozen(self, hour: int, now: SingleArray) -> None:
        """Note the heat packs that have frozen; a block runs on past a box's opening, so only in boxes still closed."""
        if now.min() <= PACK_FREEZES_C:
            closed = min(int(np.searchsorted(self._minus_duration_h, -hour)), len(now))
            self.working[:closed] &= now[:closed] > PACK_FREEZES_C


class _AirTables(NamedTuple):
    """Outside air without anomalies, (hours, legs), and for each place its weight on the legs, days and anomalies."""

    base_c: SingleArray
    anomalies: list[tuple[SingleArray, Indices, SingleArray]]

    def of_draws(self, draw: Indices) -> "_AirTables":
        """Return the air of journeys that belong to these draws of the weather."""
        return _AirTables(self.base_c, [(w, day, np.take(anomaly, draw, axis=1)) for w, day, anomaly in self.anomalies])

    def outside(
        self, ends_h: SingleArray, between_h: tuple[SingleArray, SingleArray], start: int, stop: int
    ) -> SingleArray:
        """Return outside air of the hours from start to stop, (hours, journeys), by the leg at each hour's middle.

        Parameters
        ----------
        ends_h : (legs, journeys)
            Of the first so many journeys.
        between_h : (legs - 1,), (legs - 1,)
            Earliest and latest end of each leg but the last over all journeys: legs that nobody has left, or all have,
            are not looked at.
        start, stop : int
        """
        middle = np.arange(start, stop, dtype=np.float32)[:, None] + np.float32(0.5)
        shape = stop - start, ends_h.shape[1]
        first_end, last_end = between_h
        left_by_all = int(np.count_nonzero(last_end <= middle[0]))
        left_by_some = int(np.count_nonzero(first_end <= middle[-1]))
        outside = np.empty(shape, dtype=np.float32)
        outside[:] = self.base_c[start:stop, left_by_all, None]
        weights = [np.full(shape, weight[left_by_all]) for weight, _, _ in self.anomalies]
        for leg in range(left_by_all + 1, left_by_some + 1):
            reached = middle >= ends_h[leg - 1]
            np.copyto(outside, self.base_c[start:stop, leg, None], where=reached)
            for own, (weight, _, _) in zip(weights, self.anomalies, strict=True):
                if weight[leg] != weight[leg - 1]:
                    np.copyto(own, weight[leg], where=reached)
        for own, (_, day, anomaly) in zip(weights, self.anomalies, strict=True):
            outside += own * anomaly[day[start:stop], : shape[1]]
        return outside


def _air_tables(legs: Sequence[Leg], streets: dict[str, StreetAir], hours: int) -> _AirTables:
    base = np.empty((hours, len(legs)), dtype=np.float32)
    weights = {place: np.zeros(len(legs), dtype=np.float32) for place in streets}
    for i, leg in enumerate(legs):
        air = streets[leg.place]
        open_share = 1.0 - leg.shelter
        mean, swing = air.mean_c[:hours], air.swing_c[:hours]
        if leg.hold_c is None:
            base[:, i] = mean + open_share * swing
            weights[leg.place][i] = 1.0
        else:
            base[:, i] = open_share * (mean + swing) + leg.shelter * leg.hold_c
            weights[leg.place][i] = open_share
    used = [
        (weights[place], air.day, air.anomaly_c.astype(np.float32))
        for place, air in streets.items()
        if weights[place].any()
    ]
    return _AirTables(base, used)


def follow_inside(legs: Sequence[Leg], ends_h: Array, streets: dict[str, StreetAir], box: Box) -> tuple[Array, Array]:
    """Return mean air inside of each hour and the part of the hour that counts, (hours, journeys) each.

    The same air as `expose` adds up, for the few journeys of a recorded box; journey i meets draw i of the weather.
    """
    n = ends_h.shape[1]
    hours = max(int(np.ceil(ends_h[-1].max())), 1)
    ends = ends_h.astype(np.float32)
    between = ends[:-1].min(axis=1), ends[:-1].max(axis=1)
    outside = _air_tables(legs, streets, hours).outside(ends, between, 0, hours)
    middle = np.arange(hours)[:, None] + 0.5
    inside = _InsideAir(box, np.full(n, hours, dtype=np.float32), hours).follow(outside, 0)
    return inside.astype(np.float64), np.clip(ends_h[-1] - middle + 0.5, 0.0, 1.0)
