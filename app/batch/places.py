"""Places by code: the reference table, else the nearest place of the table, corrected for elevation."""

from dataclasses import dataclass, replace
from difflib import get_close_matches
from functools import cache, lru_cache
from typing import TypedDict

import numpy as np

from app.batch.cautions import caution
from app.problems import FieldError, InvalidInput
from app.schemas import Caution, either
from model.exposure import LAPSE_C_PER_M
from model.reference import CONSTANTS, Place, Reference

EARTH_RADIUS_KM = 6371.0
FEET_PER_M = 3.28084


class _Airport(TypedDict):
    city: str
    country: str
    lat: float
    lon: float
    elevation: float
    tz: str


@dataclass(frozen=True, slots=True, eq=False)
class ResolvedPlace:
    """A place to compute with, and what to say about how it was found."""

    place: Place
    cautions: tuple[Caution, ...]


@cache
def _airports() -> dict[str, _Airport]:
    """Every airport with an IATA code; loaded when a code is asked for that the table does not have."""
    import airportsdata  # noqa: PLC0415 - 8 MB that most processes never need

    return airportsdata.load("IATA")  # type: ignore[return-value]


def distance_km(lat: float, lon: float, other_lat: float, other_lon: float) -> float:
    """Great-circle distance by the haversine formula."""
    a, b, c, d = np.radians([lat, lon, other_lat, other_lon])
    h = np.sin((c - a) / 2) ** 2 + np.cos(a) * np.cos(c) * np.sin((d - b) / 2) ** 2
    return float(2 * EARTH_RADIUS_KM * np.arcsin(np.sqrt(h)))


def between_km(one: Place, other: Place) -> float:
    """Great-circle distance of two places."""
    return distance_km(one.lat, one.lon, other.lat, other.lon)


def resolve_place(code: str, pointer: str, reference: Reference) -> ResolvedPlace:
    """Return the place of a code.

    Raises
    ------
    InvalidInput
        For a code that no airport or city of the table has; the message suggests near ones.
    """
    if code in reference.places:
        return ResolvedPlace(reference.places[code], ())
    airport = _airports().get(code)
    if airport is None:
        near = get_close_matches(code, dict.fromkeys((*reference.places, *_airports())), n=3, cutoff=0.6)
        known = [f"{c} ({_city(c, reference)})" for c in near]
        hint = f": did you mean {either(known)}?" if known else "; GET /v1/places lists the places"
        raise InvalidInput([FieldError(pointer, f"must be the code of an airport or a city{hint}")])
    return _from_nearest(code, reference)


@lru_cache(maxsize=1024)
def _from_nearest(code: str, reference: Reference) -> ResolvedPlace:
    airport = _airports()[code]
    nearest = min(reference.places.values(), key=lambda p: distance_km(p.lat, p.lon, airport["lat"], airport["lon"]))
    elev_m = airport["elevation"] / FEET_PER_M
    lapse = LAPSE_C_PER_M * (nearest.elev_m - elev_m)
    place = replace(
        nearest,
        iata=code,
        city=airport["city"] or code,
        country=airport["country"],
        lat=airport["lat"],
        lon=airport["lon"],
        elev_m=round(elev_m),
        time_zone=airport["tz"],
        tmin_c=nearest.tmin_c + lapse,
        tmax_c=nearest.tmax_c + lapse,
    )
    km = between_km(place, nearest)
    far_km = CONSTANTS.far_place_km if km > CONSTANTS.far_place_km else None
    return ResolvedPlace(
        place, (caution("nearest_place", code=code, nearest=nearest.iata, km=f"{km:,.0f}", far_km=far_km),)
    )


def _city(code: str, reference: Reference) -> str:
    place = reference.places.get(code)
    return place.city if place else _airports()[code]["city"] or _airports()[code]["country"]
