"""A lane: places, legs, usual transit time and weather of a service between two places."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from threading import Lock
from typing import NamedTuple
from zlib import crc32
from zoneinfo import ZoneInfo

import numpy as np

from app.batch.places import between_km, resolve_place
from app.batch.told_days import told_words, updated_by
from app.batch.working_days import LaneCalendar, WorkingDays, weekend_of
from app.serving import LaneTimes, LearnedTimes
from model.exposure import Forecast, PlaceWeather, StreetAir, interpolate_months, month_position, place_weather
from model.reference import CONSTANTS, Leg, Place, Reference, Service
from model.transit import Delay, HoldDelay, MissedFlights, SolvedTransit, TransitQuantiles, solve_transit

CLOSING_TIME = time(CONSTANTS.closing_hour)


@dataclass(frozen=True, slots=True, eq=False)
class Lane:
    """A service between two places; `places` is keyed by the legs' "origin", "hub", "destination"."""

    service: Service
    legs: tuple[Leg, ...]
    places: Mapping[str, Place]

    @classmethod
    def between(cls, origin: Place, destination: Place, service: str, reference: Reference) -> "Lane":
        """Return the lane by way of the service's hub with the least detour."""
        row = reference.services[service]
        hubs = [reference.places[code] for code in row.hubs.split()]
        near_km = CONSTANTS.near_hub_km
        ways = [h for h in hubs if min(between_km(origin, h), between_km(h, destination)) > near_km] or [destination]
        hub = min(ways, key=lambda h: between_km(origin, h) + between_km(h, destination))
        return cls(row, reference.legs[service], {"origin": origin, "hub": hub, "destination": destination})

    @classmethod
    def by_codes(cls, origin: str, destination: str, service: str, reference: Reference) -> "Lane":
        """Return the lane between two places by the codes of a record, which were checked when it was taken in."""
        ends = [resolve_place(code, "", reference).place for code in (origin, destination)]
        return cls.between(ends[0], ends[1], service, reference)

    def length_share(self) -> float:
        """Return what part of the service's days the lane takes: 1 from 6,000 km, never under a half."""
        km = between_km(self.places["origin"], self.places["destination"])
        shortest = CONSTANTS.shortest_lane_share
        return shortest + (1.0 - shortest) * min(km / CONSTANTS.long_lane_km, 1.0)

    def usual_quantiles(self) -> TransitQuantiles:
        """Return the table's total transit days of the service, less on lanes shorter than 6,000 km."""
        return _times(table_quantiles(self.service), self.length_share())

    def usual(self, learned: LearnedTimes, recent_days: Sequence[float] = ()) -> "UsualTime":
        """Return the total transit days to reckon with: those of own boxes where there are any, else the table's.

        Either is updated by the days that the last boxes took, as the buyer remembers them, where any are told.
        """
        known = self._known(learned)
        if not recent_days:
            return known
        row, days = self.service, tuple(recent_days)
        own = learned.of(row.service, self.places["origin"].iata, self.places["destination"].iata)
        if own is None:
            by_table, scale = table_quantiles(row), self.length_share()
            quantiles, delay = updated_by(by_table, known.delay, row.min_days, days, lane_scale=scale)
        else:
            n = own.n_arrived if own.key.origin else 0
            quantiles, delay = updated_by(known.quantiles, known.delay, row.min_days, days, known_boxes=n)
        before = f"without them {known.quantiles.p50:.3g} at the median, {known.why}"
        return UsualTime(quantiles, delay, f"{told_words(days)}; {before}")

    def _known(self, learned: LearnedTimes) -> "UsualTime":
        row, table = self.service, self.usual_quantiles()
        origin, destination = self.places["origin"].iata, self.places["destination"].iata
        own = learned.of(row.service, origin, destination)
        if own is None:
            return UsualTime(table, delay_of(row), f"usual for {row.name} on this lane ({row.status})")
        table_says = f"the table alone says {table.p50:.3g} at the median"
        if own.key.origin:
            why = f"{row.service} {origin}-{destination}: {own.from_boxes}; {table_says}"
            return UsualTime(own.quantiles, learned_delay(row, own), why)
        why = f"{row.service}: {own.from_boxes} on other lanes; {table_says}"
        return UsualTime(_times(own.quantiles, self.length_share()), learned_delay(row, own), why)

    def closing(self, ship_date: date) -> datetime:
        """Return the moment the box is closed, in UTC."""
        zone = ZoneInfo(self.places["origin"].time_zone)
        return datetime.combine(ship_date, CLOSING_TIME, tzinfo=zone).astimezone(UTC)

    def local(self, moment: datetime, role: str) -> datetime:
        """Return the naive local time of a moment at one end or the hub."""
        return moment.astimezone(ZoneInfo(self.places[role].time_zone)).replace(tzinfo=None)

    def day_offset(self, closed_at: datetime, role: str) -> tuple[date, float]:
        """Return the local date at one end or the hub when the box was closed, and the part of that day gone by."""
        local = self.local(closed_at, role)
        return local.date(), (local.hour + local.minute / 60.0) / 24.0

    def calendar(
        self, closed: Collection[date] = (), opened: Collection[date] = (), *, public_holidays: bool = True
    ) -> LaneCalendar:
        """Return when the service works along the lane.

        Hubs work all week. The weekend of the origin lengthens a layover only where a holiday joins it.

        Parameters
        ----------
        closed : collection of date
            Days without work at the destination.
        opened : collection of date
            Days that are worked wherever the box is, though they are weekends or holidays.
        public_holidays : bool
        """
        origin, hub, destination = (self.places[role].country for role in ("origin", "hub", "destination"))
        worked, all_week = frozenset(opened), self.service.delivers_weekend
        weekends = [frozenset[int]() if all_week else weekend_of(country) for country in (origin, destination)]
        return LaneCalendar(
            origin=WorkingDays(origin, weekends[0], public_holidays, opened=worked),
            hub=WorkingDays(hub, holidays=public_holidays, opened=worked) if self.has_hub else None,
            destination=WorkingDays(destination, weekends[1], public_holidays, frozenset(closed), worked),
        )

    @property
    def has_hub(self) -> bool:
        """Whether the box changes at a hub that is neither end."""
        return any(leg.leg == "hub" for leg in self.legs) and self.places["hub"] is not self.places["destination"]

    def solve(self, quantiles: TransitQuantiles, delay: Delay | None = None) -> SolvedTransit:
        """Return the transit time with these total quantiles and these delays, by default the table's."""
        return _solve(quantiles, delay_of(self.service) if delay is None else delay, self.service.min_days)


class KnownLane(NamedTuple):
    """A lane, and its calendar without any days given."""

    lane: Lane
    calendar: LaneCalendar


class KnownLanes:
    """The lanes of a ledger by the codes of its records; each is worked out once."""

    def __init__(self, reference: Reference) -> None:
        """Take the tables."""
        self._reference = reference
        self._known: dict[tuple[str, str, str], KnownLane] = {}

    def of(self, origin: str, destination: str, service: str) -> KnownLane:
        """Return a lane and its calendar."""
        key = (origin, destination, service)
        if key not in self._known:
            lane = Lane.by_codes(*key, self._reference)
            self._known[key] = KnownLane(lane, lane.calendar())
        return self._known[key]


@dataclass(frozen=True, slots=True)
class UsualTime:
    """Total transit days where the buyer gave none, how boxes are late, and the source of both."""

    quantiles: TransitQuantiles
    delay: Delay
    why: str


def table_quantiles(service: Service) -> TransitQuantiles:
    """Return the table's total transit days of a service on a long lane."""
    return TransitQuantiles(service.p10_days, service.p50_days, service.p90_days)


def _times(quantiles: TransitQuantiles, share: float) -> TransitQuantiles:
    return TransitQuantiles(share * quantiles.p10, share * quantiles.p50, share * quantiles.p90)


@lru_cache(maxsize=256)
def _solve(quantiles: TransitQuantiles, delay: Delay, minimum_days: float) -> SolvedTransit:
    return solve_transit(quantiles, delay, minimum_days)


def delay_of(service: Service) -> HoldDelay | MissedFlights:
    """Return how a service is late."""
    if service.delay_kind == "flights":
        assert service.flight_interval_days is not None  # noqa: S101 - the reference tests check the pairing
        assert service.again_share is not None  # noqa: S101
        return MissedFlights(service.delay_share, service.flight_interval_days, service.again_share)
    assert service.delay_median_days is not None  # noqa: S101
    assert service.delay_sd_log is not None  # noqa: S101
    return HoldDelay(service.delay_share, service.delay_median_days, service.delay_sd_log)


def learned_delay(service: Service, own: LaneTimes) -> HoldDelay | MissedFlights:
    """Return how a service is late by own boxes: how often, how long, and how often again."""
    return delay_of(service).learned(own.delay_share, own.delay_size, own.again_share)


class WeatherDraws:
    """Weather of places on calendar days, drawn once and shared by all routes and ship dates of a request."""

    def __init__(
        self,
        reference: Reference,
        first_day: date,
        n_days: int,
        *,
        draws: int,
        seed: int,
        forecast: Mapping[str, Mapping[date, Forecast]] | None = None,
    ) -> None:
        # A day before the first: places west of the origin still have yesterday.
        self._reference, self._first_day, self._n_days = reference, first_day - timedelta(days=1), n_days + 2
        self._draws, self._seed, self._forecast = draws, seed, forecast or {}
        self._drawn: dict[str, PlaceWeather] = {}
        self._drawing = Lock()  # routes and dates of a request may be followed on several threads

    def at(self, place: Place) -> PlaceWeather:
        """Return the weather of a place, the same in every call."""
        with self._drawing:
            if place.iata not in self._drawn:
                self._drawn[place.iata] = place_weather(
                    place,
                    self._reference.weather[place.regime],
                    self._first_day,
                    self._n_days,
                    draws=self._draws,
                    rng=np.random.default_rng([self._seed, crc32(f"weather {place.iata}".encode())]),
                    forecast=self._forecast.get(place.iata),
                )
            return self._drawn[place.iata]

    def expected(self, place: Place, day: date) -> tuple[float, float, bool]:
        """Return minimum and maximum of a day, °C, by its forecast, else by the normals, and whether by forecast."""
        if known := self._forecast.get(place.iata, {}).get(day):
            return known.min_c, known.max_c, True
        at = np.array([month_position(day)])
        low, high = interpolate_months(place.tmin_c, at), interpolate_months(place.tmax_c, at)
        return float(low[0]), float(high[0]), False

    def streets(self, lane: Lane, closed_at: datetime, hours: int) -> dict[str, StreetAir]:
        """Return the hourly outside air at the places of a lane from the closing of the box."""
        air = {}
        for role in sorted({leg.place for leg in lane.legs}):
            weather = self.at(lane.places[role])
            mean, swing, day = weather.hourly(lane.local(closed_at, role), hours)
            air[role] = StreetAir(mean, swing, day, weather.anomaly_c)
        return air
