"""Recorded boxes -> the table that the model is fitted to, each line with its exposure given everything recorded."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from types import MappingProxyType
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.batch import Lane, PackedBox, WeatherDraws, box_of, resolve_genus, resolve_place
from app.records import known_transit_days
from app.store import ArrivedBoxes, Coded, LineColumns, LoggerColumns, ShipmentColumns
from model.exposure import (
    Forecast,
    Measured,
    binned_degrees_below,
    binned_rates,
    journey_bins,
    leg_ends,
    log_days,
    trace_bins,
)
from model.fit import LINE_DTYPE, Lines
from model.predict import tabulated_cold
from model.reference import Genus, Place, Reference

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
) -> RecordedLines:
    """Return the lines of all arrived boxes.

    The exposure of a box is that of its logger's trace; else of the weather along the legs of its service: the forecast
    stored with its plan where there is one, seasonal weather with anomalies otherwise. Where a logger's mean, minimum
    or maximum is recorded, journeys through that weather are made to agree with it. Its days run from its departure to
    its opening, or from date to date.

    Parameters
    ----------
    arrived : ArrivedBoxes
    logger : LoggerColumns
    reference : Reference
    plans : mapping
        Plan and forecast of planned shipments as JSON, by number (`read_plans`).
    """
    shipments, lines = arrived
    exposures = _Exposures(reference, plans)
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


class _Exposures:
    """Exposures of boxes; boxes alike in lane, packing and dates are followed once."""

    def __init__(self, reference: Reference, plans: Mapping[int, tuple[str, str]]) -> None:
        self._reference, self._plans = reference, plans
        self._known: dict[tuple[object, ...], Array] = {}
        self._lanes: dict[tuple[str, str, str], Lane] = {}

    def of(self, shipments: ShipmentColumns, i: int, trace: tuple[Array, Array] | None) -> _Boxed:
        """Return the exposure of shipment i."""
        origin, destination, service, container = (
            column.levels[column.codes[i]]
            for column in (shipments.origin, shipments.destination, shipments.service, shipments.container)
        )
        lane = self._lane(origin, destination, service)
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
        forecast = planned_weather(self._plans.get(int(shipments.number[i])))
        trip = _Trip(ship_date, departed_at or lane.closing(ship_date), days)
        if forecast:
            bins = self._journeys(lane, packed, trip, measured, forecast)
            return _Boxed(days, bins, dates_only)
        # As text, since NaN is no NaN's equal.
        key = (origin, destination, service, packed, trip.closed_at, days, str(measured))
        if key not in self._known:
            if len(self._known) >= MOST_KEPT_JOURNEYS:
                self._known.clear()
            self._known[key] = self._journeys(lane, packed, trip, measured, {})
        return _Boxed(days, self._known[key], dates_only)

    def _lane(self, origin: str, destination: str, service: str) -> Lane:
        key = (origin, destination, service)
        if key not in self._lanes:
            ends: list[Place] = [resolve_place(code, "", self._reference).place for code in (origin, destination)]
            self._lanes[key] = Lane.between(ends[0], ends[1], service, self._reference)
        return self._lanes[key]

    def _journeys(
        self,
        lane: Lane,
        packed: PackedBox,
        trip: _Trip,
        measured: Measured,
        forecast: Mapping[str, Mapping[date, Forecast]],
    ) -> Array:
        weather = WeatherDraws(
            self._reference, trip.ship_date, int(trip.days) + 2, draws=JOURNEYS, seed=WEATHER_SEED, forecast=forecast
        )
        ends = leg_ends(lane.legs, np.full(JOURNEYS, trip.days), added_days={})
        streets = weather.streets(lane, trip.closed_at, int(np.ceil(ends[-1, 0])) + 1)
        return journey_bins(lane.legs, ends, streets, box_of(packed, self._reference), measured)


def planned_weather(plan: tuple[str, str] | None) -> dict[str, dict[date, Forecast]]:
    """Return the forecast of the weather that was given with a plan, by place and day; empty without one."""
    given = {} if plan is None else json.loads(plan[0]).get("forecast", {})
    return {
        place: {date.fromisoformat(day["date"]): Forecast(day["min_c"], day["max_c"]) for day in days}
        for place, days in given.items()
    }
