"""The forecast of a place from an open weather service, where one is set; else monthly normals have to do.

The service is asked once a call, with nothing but coordinates. Its answer is JSON in which three lists of equal length
are found by dotted paths: dates, daily minima and daily maxima in °C.
"""

import json
import logging
import re
from time import monotonic
from typing import Any
from urllib.parse import quote
from urllib.request import Request, urlopen

from app.batch.places import resolve_place
from app.problems import FieldError, InvalidInput
from app.schemas import ForecastAnswer, ForecastDay, ForecastDayAnswer
from app.settings import WeatherService
from model.reference import Place, Reference

LOG = logging.getLogger("uvicorn.error")

TIMEOUT_S = 3.0
MAX_BYTES = 2**20
CHUNK_BYTES = 2**16
NORMALS = "the monthly normals of the place are used"


class NoForecast(Exception):  # noqa: N818 - it carries why there is none
    """The weather service gave nothing that can be used; the text says why."""


def answer_forecast(code: str, service: WeatherService | None, reference: Reference) -> ForecastAnswer:
    """Return the forecast of a place, or why there is none.

    Raises
    ------
    InvalidInput
        For a place code that is not known.
    """
    if not re.fullmatch("[A-Z]{3}", code):
        raise InvalidInput([FieldError("/place", "must be three capital letters, the code of an airport or a city")])
    place = resolve_place(code, "/place", reference).place
    if service is None:
        return _normals(code, "No weather service is set")
    try:
        days = forecast_days(_fetch(_url(service, place)), service)
    except NoForecast as reason:
        return _normals(code, str(reason))
    return ForecastAnswer(
        place=code, source="service", reason=f"{len(days)} days from the weather service that is set.", days=days
    )


def _normals(code: str, why: str) -> ForecastAnswer:
    return ForecastAnswer(place=code, source="normals", reason=f"{why}: {NORMALS}.", days=[])


def _url(service: WeatherService, place: Place) -> str:
    values = {
        "latitude": f"{place.lat:.4f}",
        "longitude": f"{place.lon:.4f}",
        "time_zone": quote(place.time_zone, safe=""),
    }
    url = service.url
    for name, value in values.items():
        url = url.replace(f"{{{name}}}", value)
    return url


def _fetch(url: str) -> bytes:
    """Return the body of an answer, at most a megabyte and about three seconds of it."""
    until = monotonic() + TIMEOUT_S
    body = b""
    try:
        request = Request(url, headers={"Accept": "application/json"})  # noqa: S310 - the setting takes http(s) only
        with urlopen(request, timeout=TIMEOUT_S) as response:  # noqa: S310
            while chunk := response.read1(CHUNK_BYTES):
                body += chunk
                if len(body) > MAX_BYTES or monotonic() > until:
                    raise NoForecast("The weather service sends too much or too slowly")
    except (OSError, ValueError) as fault:
        LOG.warning("the weather service cannot be used: %s", fault)
        raise NoForecast("The weather service does not answer") from fault
    return body


def forecast_days(body: bytes, service: WeatherService) -> list[ForecastDayAnswer]:
    """Return the days of an answer, by date; days without a number are left out.

    Raises
    ------
    NoForecast
        If it is not JSON, lacks a list, or holds a day that no forecast can have.
    """
    try:
        answer = json.loads(body)
        lists = [_at(answer, path) for path in (service.dates, service.minima, service.maxima)]
        rows = list(zip(*lists, strict=True))
        days = [
            ForecastDay.model_validate_json(json.dumps({"date": str(day)[:10], "min_c": low, "max_c": high}))
            for day, low, high in rows
            if low is not None and high is not None
        ]
    except (ValueError, TypeError, KeyError) as fault:
        LOG.warning("the answer of the weather service cannot be read: %s", type(fault).__name__)
        raise NoForecast("The answer of the weather service cannot be read") from fault
    if not days or any(day.min_c > day.max_c for day in days) or len({day.date for day in days}) < len(days):
        raise NoForecast("The answer of the weather service makes no sense")
    return [
        ForecastDayAnswer(date=day.date, min_c=day.min_c, max_c=day.max_c)
        for day in sorted(days, key=lambda day: day.date)
    ]


def _at(answer: Any, path: str) -> list[Any]:
    for key in path.split("."):
        answer = answer[int(key)] if isinstance(answer, list) else answer[key]
    if not isinstance(answer, list):
        raise TypeError
    return answer
