"""``GET /v1/forecast/{place}``: what the weather service that was set says."""

from datetime import date
from typing import Literal

from pydantic import Field

from app.schemas.answers import AnswerModel
from app.schemas.fields import TemperatureC


class ForecastDayAnswer(AnswerModel):
    """A day's outside air, as ``forecast`` of a request takes it."""

    date: date
    min_c: TemperatureC
    max_c: TemperatureC


class ForecastAnswer(AnswerModel):
    """The forecast of a place, or why there is none."""

    place: str
    source: Literal["service", "normals"] = Field(description="normals: no forecast, monthly normals are used instead")
    reason: str
    days: list[ForecastDayAnswer] = Field(description="by date; empty where the source is normals")
