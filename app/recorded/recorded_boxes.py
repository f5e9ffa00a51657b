"""Recorded boxes -> the table that the model is fitted to, each line with its exposure given everything recorded."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from types import MappingProxyType
from typing import NamedTuple
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from app.batch import (
    Itinerary,
    KnownLanes,
    Lane,
    LaneCalendar,
    PackedBox,
    WeatherDraws,
    box_of,
    resolve_genus,
)
from app.recorded.planned_journey import Planned, planned
from app.records import known_transit_days
from app.serving import LearnedTimes
from app.store import ArrivedBoxes, Coded, LineColumns, LoggerColumns, ShipmentColumns
from model.exposure import Measured, binned_degrees_below, binned_rates, journey_bins, log_days, trace_bins
from model.fit import LINE_DTYPE, Lines
from model.predict import tabulated_cold
from model.reference import Genus, Reference

Array = NDArray[np.float64]

# Journeys drawn for a box without a trace.
JOURNEYS = 16
WEATHER_SEED = 1
MOST_KEPT_JOURNEYS = 50_000


class RecordedLines(NamedTuple):
    """Lines and counts for a fit.

    Attributes
    ----------
    lines : (lines,)
    counts : (lines, 4)
        Healthy, damaged, dead, sent; NaN where unknown.
    shipment : (lines,)
        Index of the shipment.
    chill_degree_days : (lines,)
        Degrees below the genus's threshold, summed over days, times its sensitivity; the mean over journeys.
    """

    lines: Lines
    counts: Array
    shipment: NDArray[np.int64]
    chill_degree_days: Array


@dataclass(frozen=True, slots=True, eq=False)
class _Boxed:
    """A box's days, its hours in bins of temperature, and whether the days are known from dates alone."""

    days: float
    bins: Array
    dates_only: bool


def recorded_lines(
    arrived: ArrivedBoxes,
    logger: LoggerColumns,
    reference: Reference,
    plans: Mapping[int, tuple[str, str]] = MappingProxyType({}),
    times: LearnedTimes | None = None,
) -> RecordedLines:
    """Return the lines of all arrived boxes.

    The exposure of a box is that of its logger's trace; else of the weather along the legs of its service: the forecast
    stored with its plan where there is one, seasonal weather with anomalies otherwise. Its days run from its departure
    to its opening, or from date to date; where they went is that of forecast journeys which take as long. Where a
    logger's mean, minimum or maximum is recorded, these journeys are made to agree with it.

    Parameters
    ----------
    arrived : ArrivedBoxes
    logger : LoggerColumns
    reference : Reference
    plans : mapping
        Plan and forecast of planned shipments as JSON, by number (`read_plans`).
    times : LearnedTimes, optional
        Times in transit by own boxes; without them the table's.
    """
    shipments, lines = arrived
    exposures = _Exposures(reference, plans, LearnedTimes() if times is None else times)
    traces = _traces(logger, shipments)
    boxes = [exposures.of(shipments, i, traces.get(int(number))) for i, number in enumerate(shipments.number)]
    names = {name: _texts(getattr(lines, name)) for name in ("genus", "cultivar")}
    genera = {name: resolve_genus(name, reference)[0] for name in set(names["genus"]) if name}
    rates = {genus: _rates(genus, reference) for genus in set(genera.values())}
    chill = {genus: _chill(genus, reference) for genus in set(genera.values())}
    degree_days = np.empty(len(lines.shipment))
    table = np.empty(len(lines.shipment), dtype=LINE_DTYPE)
    own = lines.shipment
    table["shipment"] = [f"{number:09d}" for number in shipments.number[own]]
    table["genus"] = [genera[n].genus if n and genera[n] else n for n in names["genus"]]  # type: ignore[union-attr]
    table["cultivar"] = names["cultivar"]
    for field in ("container", "roots", "service", "seller_kind", "seller"):
        texts = _texts(getattr(shipments, field))
        table[field] = [texts[i] for i in own]
    months = shipments.ship_date.astype("datetime64[M]").astype(int)
    table["quarter"] = (months // 3 + 4 * 1970)[own]
    sellers = _texts(shipments.seller)
    packed = [
        f"{name.casefold()} {day}" if name else None for name, day in zip(sellers, shipments.ship_date, strict=True)
    ]
    table["consignment"] = [packed[i] for i in own]
    for row, (i, name) in enumerate(zip(own, names["genus"], strict=True)):
        box = boxes[i]
        mean, variance = log_days(box.bins, rates[genera[name or ""]], box.days, dates_only=box.dates_only)
        table["log_days"][row], table["log_days_variance"][row] = mean, variance
        degree_days[row] = (box.bins @ chill[genera[name or ""]]).mean()
    return RecordedLines(table, _counts(lines), own, degree_days)


def _counts(lines: LineColumns) -> Array:
    cells = np.stack([lines.healthy, lines.damaged, lines.dead, lines.sent], axis=1).astype(float)
    cells[cells < 0] = np.nan
    return cells


def _texts(column: Coded) -> list[str | None]:
    return [column.levels[code] if code >= 0 else None for code in column.codes]


def _rates(genus: Genus | None, reference: Reference) -> Array:
    return binned_rates(*tabulated_cold(genus, reference))


def _chill(genus: Genus | None, reference: Reference) -> Array:
    threshold_c, sensitivity = tabulated_cold(genus, reference)
    return binned_degrees_below(threshold_c) * sensitivity


def _traces(logger: LoggerColumns, shipments: ShipmentColumns) -> Mapping[int, tuple[Array, Array]]:
    numbers, starts, sizes = np.unique(logger.number, return_index=True, return_counts=True)
    arrived = set(shipments.number.tolist())
    traces = {}
    for number, start, size in zip(numbers.tolist(), starts, sizes, strict=True):
        if number in arrived:
            at = logger.at[start : start + size]
            hours = (at - at[0]) / np.timedelta64(1, "h")
            traces[number] = (np.asarray(hours, dtype=float), logger.inside_c[start : start + size])
    return traces


class _Trip(NamedTuple):
    """When a box travelled, and for how many days."""

    ship_date: date
    closed_at: datetime
    days: float
    dates_only: bool


class _Exposures:
    """Exposures of boxes; boxes alike in lane, packing and dates are followed once."""

    def __init__(self, reference: Reference, plans: Mapping[int, tuple[str, str]], times: LearnedTimes) -> None:
        self._reference, self._plans, self._times = reference, plans, times
        self._known: dict[tuple[object, ...], Array] = {}
        self._lanes = KnownLanes(reference)

    def of(self, shipments: ShipmentColumns, i: int, trace: tuple[Array, Array] | None) -> _Boxed:
        """Return the exposure of shipment i."""
        origin, destination, service, container = (
            column.levels[column.codes[i]]
            for column in (shipments.origin, shipments.destination, shipments.service, shipments.container)
        )
        lane, calendar = self._lanes.of(origin, destination, service)
        ship_date: date = shipments.ship_date[i].astype(object)
        arrival_date: date = shipments.arrival_date[i].astype(object)
        zones = (lane.places["origin"].time_zone, lane.places["destination"].time_zone)
        departed_at, opened_at = shipments.moments(i)
        days = known_transit_days(ship_date, arrival_date, departed_at, opened_at, zones)
        dates_only = departed_at is None or opened_at is None
        if trace is not None:
            return _Boxed(days, trace_bins(*trace, days), dates_only)
        logged = (shipments.inside_temp_c[i], shipments.inside_min_c[i], shipments.inside_max_c[i])
        measured = Measured(*map(float, logged))
        packed = PackedBox(
            container,
            float(shipments.heat_pack_hours[i]),
            int(shipments.heat_packs[i]),
            int(shipments.cold_packs[i]),
        )
        trip = _Trip(ship_date, departed_at or lane.closing(ship_date), days, dates_only)
        plan = planned(self._plans.get(int(shipments.number[i])))
        if plan is not None:
            return _Boxed(
                days, self._journeys(self._planned(plan, lane, trip), packed, trip, measured, plan), dates_only
            )
        # As text, since NaN is no NaN's equal.
        key = (origin, destination, service, packed, trip, str(measured))
        if key not in self._known:
            if len(self._known) >= MOST_KEPT_JOURNEYS:
                self._known.clear()
            self._known[key] = self._journeys(self._usual(lane, calendar, trip), packed, trip, measured, None)
        return _Boxed(days, self._known[key], dates_only)

    def _usual(self, lane: Lane, calendar: LaneCalendar, trip: _Trip) -> Itinerary:
        return Itinerary.usual(lane, calendar, self._times, trip.closed_at, trip.ship_date)

    def _planned(self, plan: Planned, lane: Lane, trip: _Trip) -> Itinerary:
        """Return how a box goes that was planned: with the times, days, papers and pick-up of its plan."""
        calendar = lane.calendar(plan.closed, plan.opened, public_holidays=plan.public_holidays)
        own = replace(self._usual(lane, calendar, trip), papers_days=plan.n_missing * lane.service.papers_delay_days)
        if plan.wait_h is not None:
            own = replace(own, wait_h=plan.wait_h)
        if plan.times is not None and plan.service == lane.service.service:
            own = replace(own, transit=lane.solve(plan.times).transit, layover_days=0.0)
        return own

    def _journeys(
        self, itinerary: Itinerary, packed: PackedBox, trip: _Trip, measured: Measured, plan: Planned | None
    ) -> Array:
        lane = itinerary.lane
        weather = WeatherDraws(
            self._reference,
            trip.ship_date,
            int(trip.days) + 2,
            draws=JOURNEYS,
            seed=WEATHER_SEED,
            forecast=None if plan is None else plan.forecast,
        )
        ends = itinerary.given_total(trip.days, JOURNEYS, at=_at(lane, trip), dates_only=trip.dates_only)
        streets = weather.streets(lane, trip.closed_at, int(np.ceil(ends[-1].max())) + 1)
        return journey_bins(lane.legs, ends, streets, box_of(packed, self._reference), measured)


def _at(lane: Lane, trip: _Trip) -> float:
    """Return where the systematic sample of a box's journeys begins: even over boxes, the same for the same trip."""
    said = f"{lane.service.service} {[place.iata for place in lane.places.values()]} {trip.closed_at} {trip.days:.6f}"
    return crc32(said.encode()) / 2**32
