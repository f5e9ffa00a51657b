"""The table of places: gateways, city codes and monthly normals against a published climatology."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest
import world_temperature_data
from numpy.typing import NDArray

from model.reference.row_types import Place
from model.reference.tables import load_reference

PLACES = load_reference().places
CITY_SOURCE = "city code, normals as "
KM_PER_DEGREE = 111.2


def is_city(place: Place) -> bool:
    return place.source.startswith(CITY_SOURCE)


def km_apart(a: Place, lat: float, lon: float) -> float:
    """Flat-earth distance: good to a per cent over some tens of kilometres."""
    east = (a.lon - lon) * np.cos(np.radians(lat))
    return float(KM_PER_DEGREE * np.hypot(a.lat - lat, east))


def matched_differences() -> dict[str, NDArray[np.float64]]:
    """Table minus climatology, monthly means, of each city with a gateway in the same country within 40 km."""
    airports = [place for place in PLACES.values() if not is_city(place)]
    differences = {}
    for row in world_temperature_data.cities():
        near = min(airports, key=lambda place: km_apart(place, row["lat"], row["lon"]))
        if near.country == row["country_iso2"] and km_apart(near, row["lat"], row["lon"]) < 40:
            mean = 0.5 * (near.tmin_c + near.tmax_c)
            differences[row["city"]] = mean - np.array(list(row["monthly"].values()))
    return differences


def test_monthly_means_agree_with_a_published_climatology() -> None:
    """World-temperature-data: CHELSA v2.1, 1981-2010 (CC-BY-4.0), about 0.7 °C cooler than stations."""
    differences = matched_differences()
    all_months = np.stack(list(differences.values()))
    assert len(differences) >= 60
    assert 0.3 < all_months.mean() < 1.0
    assert np.abs(all_months).mean() < 1.0
    # Twelve months each, the whole city's offset (height, town against airport) taken out: the season is right.
    season = all_months - all_months.mean(axis=1, keepdims=True)
    worst = dict(zip(differences, np.abs(season).max(axis=1), strict=True))
    assert {city: off for city, off in worst.items() if off > 3.0} == {}


def test_at_least_180_gateways_of_all_parts_of_the_world() -> None:
    gateways = [place for place in PLACES.values() if not is_city(place)]
    assert len(gateways) >= 180
    assert {"BKK", "CGK", "UIO", "SIN", "HKG", "DXB", "DUB", "AMS", "JFK", "LAX", "YYZ", "SYD", "AKL"} <= set(PLACES)


def test_minimum_is_below_maximum_and_months_are_plausible() -> None:
    for place in PLACES.values():
        assert place.tmin_c.shape == place.tmax_c.shape == (12,)
        swing = place.tmax_c - place.tmin_c
        assert ((swing > 2) & (swing < 21)).all(), place.iata
        assert ((place.tmin_c > -30) & (place.tmax_c < 47)).all(), place.iata


def test_positions_and_heights_are_on_earth() -> None:
    for place in PLACES.values():
        assert -60 < place.lat < 72
        assert -180 <= place.lon <= 180
        assert -10 < place.elev_m < 4200
        assert place.regime in load_reference().weather


@pytest.mark.parametrize("iata", ["SYD", "AKL", "JNB", "SCL", "DUB", "JFK", "NRT"])
def test_july_is_winter_south_of_the_tropics(iata: str) -> None:
    place = PLACES[iata]
    assert (place.tmax_c[6] < place.tmax_c[0]) == (place.lat < 0)


def test_time_zones_exist_and_fit_the_longitude() -> None:
    """Legal time keeps within 3 h of the sun's (15 degrees an hour) at every gateway, in January and in July."""
    for place in PLACES.values():
        for month in (1, 7):
            offset = datetime(2027, month, 1, tzinfo=UTC).astimezone(ZoneInfo(place.time_zone)).utcoffset()
            assert offset is not None
            apart = (offset.total_seconds() / 3600 - place.lon / 15 + 12) % 24 - 12
            assert abs(apart) <= 3, f"{place.iata} {place.time_zone}"


def test_city_codes_are_their_airport() -> None:
    cities = [place for place in PLACES.values() if is_city(place)]
    assert {"LON", "NYC", "TYO", "PAR"} <= {place.iata for place in cities}
    for place in cities:
        airport = PLACES[place.source.removeprefix(CITY_SOURCE)]
        for column in ("lat", "lon", "elev_m", "time_zone", "country", "regime", "city"):
            assert getattr(place, column) == getattr(airport, column), f"{place.iata} {column}"
        np.testing.assert_array_equal(place.tmin_c, airport.tmin_c)
        np.testing.assert_array_equal(place.tmax_c, airport.tmax_c)
