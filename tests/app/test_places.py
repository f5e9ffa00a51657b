"""Places by code: the table's own, the nearest one corrected for height, and codes that do not exist."""

from math import acos, cos, radians, sin

import airportsdata
import numpy as np
import pytest

from app.batch.places import distance_km, resolve_place
from app.problems import InvalidInput
from model.reference.tables import load_reference

REFERENCE = load_reference()
AIRPORTS = airportsdata.load("IATA")


def by_cosines_km(lat: float, lon: float, other_lat: float, other_lon: float) -> float:
    """Great-circle distance by the spherical law of cosines."""
    a, b = radians(lat), radians(other_lat)
    return 6371.0 * acos(sin(a) * sin(b) + cos(a) * cos(b) * cos(radians(lon - other_lon)))


def test_a_degree_along_the_equator_and_the_half_circle() -> None:
    assert distance_km(0, 10, 0, 11) == pytest.approx(111.19, abs=0.01)  # 2 pi 6371 km / 360
    assert distance_km(90, 0, -90, 77) == pytest.approx(20015.1, abs=0.1)  # pi x 6371 km


@pytest.mark.parametrize(("one", "other", "km"), [("SIN", "LHR", 10885), ("JFK", "LHR", 5554), ("SYD", "LAX", 12051)])
def test_distances_of_airports(one: str, other: str, km: float) -> None:
    """Published great-circle distances on the ellipsoid, from memory; the sphere is within 0.5 %."""
    a, b = REFERENCE.places[one], REFERENCE.places[other]
    assert distance_km(a.lat, a.lon, b.lat, b.lon) == pytest.approx(km, rel=0.005)


@pytest.mark.parametrize("code", ["DUB", "LON"])
def test_a_place_of_the_table_is_taken_as_it_stands(code: str) -> None:
    found = resolve_place(code, "/origin", REFERENCE)
    assert found.place is REFERENCE.places[code]
    assert found.cautions == ()


# Airports outside the table, low and very high: Derry, Chetumal, Cusco, El Alto.
@pytest.mark.parametrize("code", ["LDY", "CTM", "CUZ", "LPB"])
def test_another_airport_answers_from_the_nearest_place_corrected_for_height(code: str) -> None:
    assert code not in REFERENCE.places
    airport = AIRPORTS[code]
    near = min(REFERENCE.places.values(), key=lambda p: by_cosines_km(p.lat, p.lon, airport["lat"], airport["lon"]))
    found = resolve_place(code, "/origin", REFERENCE)
    metres_higher = airport["elevation"] * 0.3048 - near.elev_m
    for column in ("tmin_c", "tmax_c"):
        colder = getattr(near, column) - getattr(found.place, column)
        np.testing.assert_allclose(colder, 6.5 * metres_higher / 1000, atol=0.01)
    assert (found.place.iata, found.place.time_zone, found.place.regime) == (code, airport["tz"], near.regime)
    assert [c.code for c in found.cautions] == ["nearest_place"]
    assert near.iata in found.cautions[0].text
    assert code in found.cautions[0].text


# Derry is some 100 km from Belfast, Baguio about as far from Clark; Chetumal 300 km from Cancun, Cusco 570 from Lima.
@pytest.mark.parametrize(("code", "far"), [("LDY", False), ("BAG", False), ("CTM", True), ("CUZ", True)])
def test_a_far_place_may_differ_by_several_degrees_and_says_so(code: str, far: bool) -> None:
    [said] = resolve_place(code, "/origin", REFERENCE).cautions
    assert ("more than 150 km temperatures may differ by several degrees" in said.text) == far


@pytest.mark.parametrize(("code", "mean_c"), [("BAG", 19.5), ("TLC", 13.5)])
def test_a_hill_town_near_a_gateway_comes_out_about_right(code: str, mean_c: float) -> None:
    """Annual means of Baguio and Toluca, from memory.

    Far from any gateway it can fail badly: Cusco, taken from the cool desert coast at Lima, comes out some 13 °C too
    cold. The caution gives the distance.
    """
    place = resolve_place(code, "/origin", REFERENCE).place
    assert float(np.mean(0.5 * (place.tmin_c + place.tmax_c))) == pytest.approx(mean_c, abs=2.5)


@pytest.mark.parametrize(("code", "near"), [("BKQQ", "BKQ"), ("DUBB", "DUB (Dublin)")])
def test_an_unknown_code_is_refused_with_near_ones(code: str, near: str) -> None:
    with pytest.raises(InvalidInput) as refused:
        resolve_place(code, "/routes/0/origin", REFERENCE)
    (error,) = refused.value.errors
    assert error.pointer == "/routes/0/origin"
    assert error.message.count(near) == 1


def test_an_unknown_code_of_three_letters_suggests_codes_that_exist() -> None:
    with pytest.raises(InvalidInput) as refused:
        resolve_place("XQX", "/origin", REFERENCE)
    hint = refused.value.errors[0].message.partition("did you mean ")[2]
    suggested = [part.split(" (")[0] for part in hint.rstrip("?").replace(" or ", ", ").split("), ")]
    assert suggested
    assert all(code in REFERENCE.places or code in AIRPORTS for code in suggested)


def test_a_code_like_no_other_points_to_the_list() -> None:
    with pytest.raises(InvalidInput) as refused:
        resolve_place("0000", "/origin", REFERENCE)
    assert "GET /v1/places" in refused.value.errors[0].message
