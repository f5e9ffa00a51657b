"""The quantities that requests are made of: types with their ranges, and checks between fields.

A wrong type is refused, never converted: "6" is not 6, true is not 1, 2.0 is not a count.
"""

from collections.abc import Sequence
from datetime import UTC, date, datetime
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    StringConstraints,
    ValidationError,
)
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, InitErrorDetails, PydanticCustomError, core_schema

from model.reference import COLDEST_C, CONSTANTS, WARMEST_C

CROSS_FIELD = "cross_field"
MAX_LISTED = 100
MOMENT_WORDS = "a moment of ISO 8601 with its offset, such as 2027-01-11T08:00:00+07:00, 1900 to 2199"

Fault = tuple[tuple[str | int, ...], str]


def refuse(faults: Sequence[Fault]) -> None:
    """Raise the faults found between fields, each with its place below the object that checks; none, no error."""
    if faults:
        details: list[InitErrorDetails] = [
            {"type": PydanticCustomError(CROSS_FIELD, "{right}", {"right": message}), "loc": location, "input": None}
            for location, message in faults[:MAX_LISTED]
        ]
        raise ValidationError.from_exception_data("request", details, input_type="json", hide_input=True)


class RequestModel(BaseModel):
    """What every object in a request has in common."""

    model_config = ConfigDict(
        extra="forbid",
        strict=True,
        allow_inf_nan=False,
        frozen=True,
        hide_input_in_errors=True,
        defer_build=True,
    )


class _LocalDate:
    """A calendar date written YYYY-MM-DD and nothing else (pydantic alone also takes timestamps)."""

    @classmethod
    def __get_pydantic_core_schema__(cls, _source: Any, _handler: GetCoreSchemaHandler) -> CoreSchema:
        # The bounds leave room to add any time in transit or validity without leaving the calendar.
        return core_schema.json_or_python_schema(
            json_schema=core_schema.chain_schema(
                [
                    core_schema.str_schema(strict=True, pattern=r"^\d{4}-\d{2}-\d{2}$"),
                    core_schema.date_schema(strict=False, ge=date(1900, 1, 1), le=date(2199, 12, 31)),
                ]
            ),
            python_schema=core_schema.date_schema(strict=True),
        )

    @classmethod
    def __get_pydantic_json_schema__(cls, _schema: CoreSchema, _handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        return {"type": "string", "format": "date", "x-expected": "a date written YYYY-MM-DD, 1900 to 2199"}


class _Moment:
    """A moment with its offset, ISO 8601 (pydantic alone also takes numbers and counts of seconds)."""

    @classmethod
    def __get_pydantic_core_schema__(cls, _source: Any, _handler: GetCoreSchemaHandler) -> CoreSchema:
        written = r"^\d{4}-\d{2}-\d{2}[Tt ]\d{2}:\d{2}(:\d{2}([.,]\d{1,6})?)?([Zz]|[+-]\d{2}:?\d{2})$"
        return core_schema.json_or_python_schema(
            json_schema=core_schema.chain_schema(
                [
                    core_schema.str_schema(strict=True, pattern=written),
                    core_schema.datetime_schema(
                        strict=False,
                        tz_constraint="aware",
                        ge=datetime(1900, 1, 1, tzinfo=UTC),
                        le=datetime(2199, 12, 31, tzinfo=UTC),
                    ),
                ]
            ),
            python_schema=core_schema.datetime_schema(strict=True, tz_constraint="aware"),
        )

    @classmethod
    def __get_pydantic_json_schema__(cls, _schema: CoreSchema, _handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        return {"type": "string", "format": "date-time", "x-expected": MOMENT_WORDS}


LocalDate = Annotated[date, _LocalDate]
Moment = Annotated[datetime, _Moment]

# A control character is a slip of a program, and PostgreSQL takes no NUL.
NO_CONTROLS = r"^[^\x00-\x1f\x7f-\x9f]*$"
LINE_ENDS_ONLY = r"^[^\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]*$"
Text = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=120, pattern=NO_CONTROLS),
    Field(json_schema_extra={"x-expected": "a text of 1 to 120 characters, none of them a control character"}),
]
Note = Annotated[
    str,
    StringConstraints(strip_whitespace=True, max_length=120, pattern=NO_CONTROLS),
    Field(json_schema_extra={"x-expected": "a text of up to 120 characters, none of them a control character"}),
]
LongNote = Annotated[
    str,
    StringConstraints(strip_whitespace=True, max_length=4000, pattern=LINE_ENDS_ONLY),
    Field(
        json_schema_extra={
            "x-expected": "a text of up to 4,000 characters, line ends and tabs the only control characters"
        }
    ),
]
PlaceCode = Annotated[
    str,
    Field(
        pattern="^[A-Z]{3}$",
        json_schema_extra={"x-expected": "three capital letters, the code of an airport or a city, such as BKK"},
    ),
]
Currency = Annotated[
    str,
    Field(
        pattern="^[A-Z]{3}$",
        json_schema_extra={"x-expected": "three capital letters, a currency of ISO 4217 such as EUR"},
    ),
]

ContainerCode = Literal["foam_box", "lined_carton", "carton"]
RootsCode = Literal["damp_wrap", "damp_paper", "dry", "plug"]
ServiceCode = Literal["courier", "post", "air_cargo"]
SellerKind = Literal["grower", "exporter", "reseller"]
Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]

DAYS_WORDS = f"days, over 0 to {CONSTANTS.longest_transit_days}"
DaysInTransit = Annotated[float, Field(gt=0, le=CONSTANTS.longest_transit_days)]
RememberedDays = Annotated[float, Field(ge=0.5, le=CONSTANTS.longest_transit_days)]
TemperatureC = Annotated[float, Field(ge=COLDEST_C, le=WARMEST_C)]
HeatPackHours = Annotated[float, Field(ge=0, le=240)]
HeatPacks = Annotated[int, Field(ge=0, le=20)]
ColdPacks = Annotated[int, Field(ge=0, le=50)]
Quantity = Annotated[int, Field(ge=1, le=100_000)]
Amount = Annotated[float, Field(ge=0, le=1e9)]
Rate = Annotated[float, Field(ge=0, le=2)]
Share = Annotated[float, Field(ge=0, le=1)]
Confidence = Annotated[float, Field(ge=0.5, le=0.999)]
Boxes = Annotated[int, Field(ge=1, le=100)]
Hours = Annotated[float, Field(ge=0, le=2160)]
ValidDays = Annotated[int, Field(ge=0, le=3650)]
Draws = Annotated[int, Field(ge=256, le=65_536)]
Seed = Annotated[int, Field(ge=0, le=2**53 - 1)]


def default_heat_packs(fields: dict[str, Any]) -> int:
    """One pack where hours are given, else none."""
    return 1 if fields["heat_pack_hours"] > 0 else 0


class DayRange(RequestModel):
    """Outside air of one day."""

    min_c: TemperatureC = Field(description="daily minimum, °C, -40 to 60")
    max_c: TemperatureC = Field(description="daily maximum, °C, -40 to 60, at least min_c")


LOGGER_SUMMARY = {"inside_temp_c": "mean", "inside_min_c": "lowest", "inside_max_c": "highest"}
"""What is recorded of a logger without its readings, and what it is called."""


def temperature_faults(mean_c: float | None, min_c: float | None, max_c: float | None) -> list[tuple[str, str]]:
    """Return the fields of a logger's summary that are out of order, each with what would be right."""
    faults = []
    if min_c is not None and mean_c is not None and min_c > mean_c:
        faults.append(("inside_min_c", "must not be above the mean"))
    if max_c is not None and mean_c is not None and max_c < mean_c:
        faults.append(("inside_max_c", "must not be below the mean"))
    elif max_c is not None and min_c is not None and max_c < min_c:
        faults.append(("inside_max_c", "must not be below the minimum"))
    return faults


def inverted_ranges(days: Sequence[DayRange], at: tuple[str | int, ...] = ()) -> list[Fault]:
    """Return a fault for every day whose minimum is above its maximum."""
    return [((*at, i, "min_c"), "must be at most max_c") for i, day in enumerate(days) if day.min_c > day.max_c]


def _ranges_in_order(days: list[DayRange]) -> list[DayRange]:
    refuse(inverted_ranges(days))
    return days


# One check a list rather than one a day: risk requests hold tens of thousands of days.
DayRanges = Annotated[list[DayRange], Field(min_length=1, max_length=366), AfterValidator(_ranges_in_order)]
