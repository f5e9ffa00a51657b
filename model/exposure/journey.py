"""Legs + weather + transit draws -> exposure draws.

A journey is a chain of legs. The wait before pick-up is fixed; the other legs share the remaining time; delays lengthen
the leg in which they happen. Each hour has one leg, taken at its middle: its outside air is the street's, drawn towards
the leg's hold temperature (or the day's mean) as far as the leg is sheltered.

Air and rates are followed in single precision, which moves equivalent days by less than 1e-6 of themselves and takes
two thirds of the time on a processor without wide vectors; damage is added up in double.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from model.exposure.box import Box
from model.exposure.damage import ClockDraws, ExposureClock, SingleArray
from model.exposure.inside import InsideAir
from model.reference import CONSTANTS, Leg

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

WAIT_LEG = "wait"
DEFAULT_WAIT_H = CONSTANTS.wait_h
SAMPLED_JOURNEYS = 128
# Journey-hours taken at once: enough to outweigh the cost of a call, few enough to stay in the cache.
HOURS_AT_ONCE = 65_536
FEWEST_TOGETHER, MOST_TOGETHER = 64, 896
# Rows of a multiple of these begin where vectors do.
LANES = 16


@dataclass(frozen=True, slots=True, eq=False)
class StreetAir:
    """Hourly outside air of one place along a journey: mean (hours,), swing (hours,), anomaly rows (days, draws)."""

    mean_c: Array
    swing_c: Array
    day: Indices
    anomaly_c: Array | SingleArray


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
    logger : Logger or None
        Where it was asked for.
    """

    equivalent_days: Array
    chill_dose_days: Array
    inside_c: Array
    inside_hour: Indices
    pack_froze: NDArray[np.bool_]
    logger: "Logger | None" = None


class Logger(NamedTuple):
    """What a logger in the box would tell, °C: the mean over its hours and the coldest of them, (journeys,) each."""

    mean_c: Array
    coldest_c: Array


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
    logged: bool = False,
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
    logged : bool, optional
        Whether it is told what a logger would tell.
    """
    n = ends_h.shape[1]
    order = np.argsort(-ends_h[-1], kind="stable")  # the longest first: those followed together take about as long
    ends = ends_h[:, order].astype(np.float32)
    draws = order if draw_of is None else draw_of[order]
    air = _air_tables(legs, streets, max(int(np.ceil(ends[-1, 0])), 1))
    parameters: list[NDArray[Any]] = [
        own.astype(np.float32)[..., draws] for own in (clock.log_q10, clock.threshold_c, clock.chill_per_day_c)
    ]
    every = max(n // SAMPLED_JOURNEYS, 1)
    followed = [
        _followed(
            ends[:, own],
            air,
            box,
            ClockDraws(*(parameter[..., own] for parameter in parameters)),
            draws[own],
            slice(-own.start % every, None, every),
            logged=logged,
        )
        for own in _together(ends[-1])
    ]
    back = np.empty(n, dtype=np.intp)
    back[order] = np.arange(n)
    days, dose, working = (np.concatenate([part[i] for part in followed], axis=-1)[..., back] for i in range(3))
    told = [part.logger for part in followed if part.logger is not None]
    return Exposure(
        equivalent_days=days,
        chill_dose_days=dose,
        inside_c=np.concatenate([part.inside_c for part in followed]).astype(np.float64),
        inside_hour=np.concatenate([part.inside_hour for part in followed]),
        pack_froze=~working,
        logger=Logger(*(np.concatenate(own)[back] for own in zip(*told, strict=True))) if told else None,
    )


def _together(duration_h: SingleArray) -> Iterator[slice]:
    """Yield which journeys, (n,) and the longest first, are followed together: so many that all hours stay cached."""
    start, n = 0, len(duration_h)
    while start < n:
        hours = max(int(np.ceil(duration_h[start])), 1)
        together = min(max(HOURS_AT_ONCE // hours, FEWEST_TOGETHER), MOST_TOGETHER)
        stop = min(start + together // LANES * LANES, n)
        yield slice(start, stop)
        start = stop


class _Followed(NamedTuple):
    """Equivalent days and chill dose, (genera, n), whose heat pack works at the end, (n,), and sampled air inside."""

    equivalent_days: SingleArray
    chill_dose_days: SingleArray
    working: NDArray[np.bool_]
    inside_c: SingleArray
    inside_hour: Indices
    logger: Logger | None


def _followed(
    ends_h: SingleArray,
    air: "_AirTables",
    box: Box,
    clock: ClockDraws,
    draws: Indices,
    sampled: slice,
    *,
    logged: bool,
) -> _Followed:
    """Follow some journeys, the longest first, from the closing of the box to the last opening."""
    duration = ends_h[-1]
    hours = max(int(np.ceil(duration[0])), 1)
    outside = air.outside(ends_h, draws, hours)
    inside, working = InsideAir(box, hours).follow(outside, duration)
    adder = ExposureClock(clock)
    adder.add(inside, duration)
    hour = np.arange(hours, dtype=np.float32)[:, None]
    within = hour + np.float32(1.0) <= np.maximum(duration[sampled], np.float32(1.0))
    return _Followed(
        adder.equivalent_days(),
        adder.chill_dose_days(),
        working,
        inside[:, sampled][within],
        np.nonzero(within)[0],
        _logged(inside, duration) if logged else None,
    )


def _logged(inside_c: SingleArray, duration_h: SingleArray) -> Logger:
    """Return what a logger in each box would tell, of its air, (hours, n), the longest first."""
    hours = len(inside_c)
    whole = min(max(int(duration_h[-1]), 1), hours)
    total, coldest = inside_c[:whole].sum(axis=0), inside_c[:whole].min(axis=0)
    counted = np.clip(duration_h - np.arange(whole, hours, dtype=np.float32)[:, None], np.float32(0), np.float32(1))
    if whole < hours:
        rest = inside_c[whole:]
        total += (rest * counted).sum(axis=0)
        coldest = np.minimum(coldest, np.where(counted > 0, rest, np.float32(np.inf)).min(axis=0))
    mean = total / (np.float32(whole) + counted.sum(axis=0))
    return Logger(mean.astype(np.float64), coldest.astype(np.float64))


class _LegAir(NamedTuple):
    """Outside air of a leg: (hours,) without anomalies, how much of these it feels, and where they happen."""

    base_c: SingleArray
    weight: float
    place: str


class _Days(NamedTuple):
    """Anomalies of a place, (days, journeys), and the first hour of each day and that after the last, (days + 1,)."""

    anomaly_c: SingleArray
    first_hour: Indices

    def fill(self, leg: _LegAir, out: SingleArray, start: int, stop: int) -> None:
        """Write the air of a leg from one hour to another, (hours, journeys)."""
        if not leg.weight:
            out[:] = leg.base_c[start:stop, None]
            return
        first, last = np.searchsorted(self.first_hour, (start, stop - 1), side="right") - 1
        for day in range(first, last + 1):
            own = self.anomaly_c[day]
            hours = slice(max(int(self.first_hour[day]), start), min(int(self.first_hour[day + 1]), stop))
            own = own if leg.weight == 1.0 else own * np.float32(leg.weight)
            np.add(own, leg.base_c[hours, None], out=out[hours.start - start : hours.stop - start])


class _AirTables(NamedTuple):
    """Outside air of each leg, and by place the day of each hour, (hours,), and anomalies, (days, draws)."""

    legs: list[_LegAir]
    anomalies: dict[str, tuple[Indices, SingleArray]]

    def outside(self, ends_h: SingleArray, draws: Indices, hours: int) -> SingleArray:
        """Return outside air, (1 + hours, journeys), by the leg at each hour's middle; the first row is left free.

        Parameters
        ----------
        ends_h : (legs, journeys)
        draws : (journeys,)
            The draw of the weather that each journey belongs to.
        hours : int
        """
        days = {}
        for place, (day, anomaly) in self.anomalies.items():
            n_days = int(day[hours - 1]) + 1
            days[place] = _Days(
                anomaly[:n_days].take(draws, axis=1), np.searchsorted(day[:hours], np.arange(n_days + 1))
            )
        middle = np.arange(hours, dtype=np.float32) + np.float32(0.5)
        air = np.empty((1 + hours, ends_h.shape[1]), dtype=np.float32)
        # From when on some are in a leg, and from when on all have reached it.
        some, every = 0, 0
        for i, leg in enumerate(self.legs):
            last = i + 1 == len(self.legs)
            next_some, next_every = (
                (hours, hours) if last else np.searchsorted(middle, (ends_h[i].min(), ends_h[i].max())).tolist()
            )
            until = min(every, next_every)
            if some < until:
                reached = middle[some:until, None] >= ends_h[i - 1]
                next_air = np.empty(reached.shape, dtype=np.float32)
                days[leg.place].fill(leg, next_air, some, until)
                np.copyto(air[1 + some : 1 + until], next_air, where=reached)
            if until < next_every:
                days[leg.place].fill(leg, air[1 + until : 1 + next_every], until, next_every)
            some, every = next_some, next_every
        return air


def leg_air(leg: Leg, air: StreetAir, hours: int) -> tuple[Array, float]:
    """Return the air of a leg at its place without anomalies, (hours,), and how much of these it feels."""
    open_share = 1.0 - leg.shelter
    mean, swing = air.mean_c[:hours], air.swing_c[:hours]
    if leg.hold_c is None:
        return mean + open_share * swing, 1.0
    return open_share * (mean + swing) + leg.shelter * leg.hold_c, open_share


def _air_tables(legs: Sequence[Leg], streets: dict[str, StreetAir], hours: int) -> _AirTables:
    """Return the air of legs for so many hours, with the anomalies of the days that these fall on."""
    anomalies = {
        place: (
            air.day[:hours] - air.day[0],
            air.anomaly_c[air.day[0] : air.day[hours - 1] + 1].astype(np.float32, copy=False),
        )
        for place, air in streets.items()
    }
    tables = []
    for leg in legs:
        air = streets[leg.place]
        base, weight = leg_air(leg, air, hours)
        tables.append(_LegAir(base.astype(np.float32), weight, leg.place))
    return _AirTables(tables, anomalies)


def follow_inside(legs: Sequence[Leg], ends_h: Array, streets: dict[str, StreetAir], box: Box) -> tuple[Array, Array]:
    """Return mean air inside of each hour and the part of the hour that counts, (hours, journeys) each.

    The same air as `expose` adds up, for the few journeys of a recorded box; journey i meets draw i of the weather.
    """
    n = ends_h.shape[1]
    hours = max(int(np.ceil(ends_h[-1].max())), 1)
    outside = _air_tables(legs, streets, hours).outside(ends_h.astype(np.float32), np.arange(n), hours)
    inside, _ = InsideAir(box, hours).follow(outside, np.full(n, hours, dtype=np.float32))
    return inside.astype(np.float64), np.clip(ends_h[-1] - np.arange(hours)[:, None], 0.0, 1.0)
