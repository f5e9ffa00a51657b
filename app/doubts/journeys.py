"""What a box's lane makes likely: days in transit by service and ledger, mean temperature by simulated journeys."""

from collections import defaultdict
from datetime import date

import numpy as np
from numpy.typing import NDArray

from app.batch import (
    Itinerary,
    KnownLane,
    KnownLanes,
    Lane,
    PackedBox,
    WeatherDraws,
    box_of,
    most_waited,
    origin_layover,
)
from app.records import LONGEST_DAYS, known_transit_days
from app.serving import LearnedTimes
from app.store import ShipmentColumns
from model.exposure import journey_bins, mean_of_bins
from model.reference import Reference
from model.screening import log_days_chance, log_temperature_density

Array = NDArray[np.float64]

JOURNEYS = 32
WEATHER_SEED = 2
LEAST_DAYS = 0.25


class LikelyJourneys:
    """Densities of recorded days and temperatures; what is alike is worked out once.

    Parameters
    ----------
    shipments : ShipmentColumns
        Of the whole ledger: its days say what is usual beside the table.
    reference : Reference
    """

    def __init__(self, shipments: ShipmentColumns, reference: Reference) -> None:
        self._reference = reference
        self._lanes = KnownLanes(reference)
        self._followed: dict[tuple[object, ...], Array] = {}
        days: defaultdict[str, list[tuple[int, float]]] = defaultdict(list)
        for i, number in enumerate(shipments.number.tolist()):
            days[self.lane(shipments, i).service.service].append((number, self._scaled_days(shipments, i)))
        self._days = {service: np.array(own) for service, own in days.items()}

    def lane(self, shipments: ShipmentColumns, i: int) -> Lane:
        """Return the lane of shipment i."""
        return self._known(shipments, i).lane

    def _known(self, shipments: ShipmentColumns, i: int) -> KnownLane:
        origin, destination, service = _texts(shipments, i, ("origin", "destination", "service"))
        return self._lanes.of(origin, destination, service)

    def days(self, shipments: ShipmentColumns, i: int) -> float:
        """Return the recorded days of shipment i, closing to opening."""
        lane = self.lane(shipments, i)
        zones = (lane.places["origin"].time_zone, lane.places["destination"].time_zone)
        dates = (_date(shipments.ship_date[i]), _date(shipments.arrival_date[i]))
        return known_transit_days(*dates, *shipments.moments(i), zones)

    def log_days(self, shipments: ShipmentColumns, i: int, number: int) -> float:
        """Return the log chance of the recorded days of shipment i, which is `number` in the ledger."""
        lane = self.lane(shipments, i)
        scale = lane.length_share()
        numbers, days = self._days[lane.service.service].T
        transit = lane.solve(lane.usual_quantiles()).transit
        own = self._scaled_days(shipments, i)
        return log_days_chance(scale * own, transit.log_sf, scale * days[numbers != number])

    def log_temperature(self, shipments: ShipmentColumns, i: int, logged_c: float) -> float:
        """Return the log density of a logger's mean in shipment i, per °C."""
        return log_temperature_density(logged_c, self.mean_c(shipments, i))

    def mean_c(self, shipments: ShipmentColumns, i: int) -> Array:
        """Return the mean air in the box of journeys such as that of shipment i, °C, (journeys,)."""
        lane, calendar = self._known(shipments, i)
        days, ship_date = min(self.days(shipments, i), LONGEST_DAYS), _date(shipments.ship_date[i])
        (container,) = _texts(shipments, i, ("container",))
        packs = (int(shipments.heat_packs[i]), int(shipments.cold_packs[i]))
        packed = PackedBox(container, float(shipments.heat_pack_hours[i]), *packs)
        closed_at = shipments.moments(i)[0] or lane.closing(ship_date)
        key = (lane, packed, closed_at, days)
        if key not in self._followed:
            weather = WeatherDraws(self._reference, ship_date, int(days) + 2, draws=JOURNEYS, seed=WEATHER_SEED)
            usual = Itinerary.usual(lane, calendar, LearnedTimes(), closed_at, ship_date)
            ends = usual.given_total(days, JOURNEYS, at=0.5)
            streets = weather.streets(lane, closed_at, int(np.ceil(ends[-1].max())) + 1)
            bins = journey_bins(lane.legs, ends, streets, box_of(packed, self._reference))
            self._followed[key] = mean_of_bins(bins)
        return self._followed[key]

    def _scaled_days(self, shipments: ShipmentColumns, i: int) -> float:
        """Return the days of shipment i as a long lane would take, layover and half of a wait for worked days off."""
        lane, calendar = self._known(shipments, i)
        ship_date, days = _date(shipments.ship_date[i]), self.days(shipments, i)
        closed_at = shipments.moments(i)[0] or lane.closing(ship_date)
        waited = most_waited(lane, calendar, closed_at, min(max(days, 0.0), LONGEST_DAYS))
        days -= origin_layover(lane, calendar, ship_date) + 0.5 * waited
        return max(days, LEAST_DAYS) / lane.length_share()


def _date(day: np.datetime64) -> date:
    found: date = day.astype(object)
    return found


def _texts(shipments: ShipmentColumns, i: int, names: tuple[str, ...]) -> tuple[str, ...]:
    columns = [getattr(shipments, name) for name in names]
    return tuple(column.levels[column.codes[i]] for column in columns)
