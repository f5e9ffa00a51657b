"""What is asked of a shipment: planned, followed, unpacked, looked at again."""

from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, StringConstraints, model_validator

from app.schemas.batch import Route
from app.schemas.compare import CompareRequest
from app.schemas.fields import (
    LOGGER_SUMMARY,
    NO_CONTROLS,
    Amount,
    Fault,
    LocalDate,
    LongNote,
    Moment,
    Note,
    RequestModel,
    TemperatureC,
    Text,
    refuse,
    temperature_faults,
)

MAX_READINGS = 100_000
MAX_LINES = 400
ShipmentState = Literal["planned", "in_transit", "arrived", "lost"]
EventKind = Literal["departed", "at_hub", "in_clearance", "held", "released", "lost"]
ClaimOutcome = Literal["refunded", "replaced", "refused"]
TakenBack = Literal["departure", "event", "arrival", "recheck", "claim"]
Count = Annotated[int, Field(ge=0, le=100_000)]


def _file_name(name: str) -> str:
    if "/" in name or "\\" in name or name in (".", ".."):
        refuse([((), "must be the name of a file, without folders")])
    return name


FileName = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=120, pattern=NO_CONTROLS),
    Field(json_schema_extra={"x-expected": "the name of a file, 1 to 120 characters, without folders"}),
    AfterValidator(_file_name),
]


class PlanRequest(CompareRequest):
    """A batch that leaves on a given day by its one route: one waybill."""

    reference: Text | None = Field(default=None, description="a name of your own, unique, up to 120 characters")
    routes: Annotated[
        list[Route],
        Field(min_length=1, max_length=1, json_schema_extra={"x-expected": "a list of exactly one route"}),
    ]

    def disagreements(self) -> list[Fault]:
        """Return the faults between fields that are each in range."""
        faults = super().disagreements()
        seen: dict[tuple[str, str], int] = {}
        for i, line in enumerate(self.lines):
            first = seen.setdefault(plant_key(line.genus, line.cultivar), i)
            if first != i:
                message = (
                    f"is the same plant as line {first}: add their quantities up in one line, or tell them apart by "
                    "cultivar (a size or grade will do)"
                )
                faults.append((("lines", i, "genus"), message))
        return faults


class EventRequest(RequestModel):
    """Something that was heard of a box on its way."""

    at: Moment = Field(description="when it happened, ISO 8601 with an offset")
    kind: EventKind
    note: Note = Field(default="", description="up to 120 characters")


class ClaimRequest(RequestModel):
    """What became of the claim."""

    outcome: ClaimOutcome
    amount: Amount | None = Field(default=None, description="paid or credited, currency of the plan, 0 to 1e9")
    settled_on: LocalDate | None = Field(default=None, description="local date at the destination")


class ChangeRequest(RequestModel):
    """What was heard since; fields left out, or null, change nothing."""

    departed_at: Moment | None = Field(
        default=None,
        description="when the closed box left, ISO 8601 with an offset; the time in transit starts here. Sent again it"
        " corrects the one recorded, also after arrival",
    )
    arrived_at: Moment | None = Field(default=None, description="corrects the delivery; after arrival only")
    opened_at: Moment | None = Field(default=None, description="corrects the opening; after arrival only")
    events: Annotated[list[EventRequest], Field(max_length=200)] = Field(
        default=[], description="added to those recorded; an equal one is ignored"
    )
    claim: ClaimRequest | None = Field(default=None, description="after arrival only; replaces the one recorded")


class TakeBackRequest(RequestModel):
    """The step that was recorded by mistake: the last, or nothing is taken back."""

    step: TakenBack = Field(
        description="departure: planned again; event: the last that was heard; arrival: on its way again, without"
        " counts; recheck, claim: as if it had not been recorded"
    )


class ArrivedLine(RequestModel):
    """Counts of one line at unboxing; they add up to `sent`."""

    line: Count | None = Field(default=None, description="position of the line in the plan, from 0")
    genus: Text | None = Field(default=None, description="of plants that were not ordered, which have no line")
    cultivar: Text | None = Field(default=None, description="of plants that were not ordered")
    sent: Count | None = Field(default=None, description="plants found in the box, 0 to 100,000; null: the quantity")
    healthy: Count = Field(description="firm stem, sound roots, at most cosmetic marks")
    damaged: Count = Field(description="alive, but yellow, bruised or part-rotted")
    dead: Count = Field(description="roots rotted or gone, or rot in the stem")
    note: Note = Field(default="", description="up to 120 characters")

    @model_validator(mode="after")
    def _counts_add_up(self) -> Self:
        if self.sent is not None and self.healthy + self.damaged + self.dead != self.sent:
            refuse([(("dead",), "healthy, damaged and dead must add up to sent")])
        return self


class ReadingRequest(RequestModel):
    """One reading of a logger in the box."""

    at: Moment = Field(description="ISO 8601 with an offset; strictly later than the one before")
    inside_c: TemperatureC = Field(description="air in the box, °C, -40 to 60")


class ArrivalRequest(RequestModel):
    """What was found in the box; a second one replaces the first, which is kept in the history."""

    departed_at: Moment | None = Field(default=None, description="corrects the departure; null: as recorded")
    arrived_at: Moment = Field(description="when the box was delivered or collected, ISO 8601 with an offset")
    opened_at: Moment | None = Field(default=None, description="when it was opened; null: arrived_at")
    lines: Annotated[list[ArrivedLine], Field(min_length=1, max_length=MAX_LINES)] = Field(
        description="every line of the plan once, then plants that were not ordered, with genus and cultivar"
    )
    notes: LongNote = Field(default="", description="up to 4,000 characters")
    photos: Annotated[list[FileName], Field(max_length=200)] = Field(
        default=[], description="names of files that you keep; they are not stored here"
    )
    logger: Annotated[list[ReadingRequest], Field(max_length=MAX_READINGS)] | None = Field(
        default=None, description="readings of a logger in the box, gaps up to 6 h"
    )
    logger_csv: str | None = Field(
        default=None, description="the same as a CSV text with the columns at and inside_c, instead of logger"
    )
    inside_temp_c: TemperatureC | None = Field(
        default=None, description="mean of a logger whose readings are not given, °C, -40 to 60"
    )
    inside_min_c: TemperatureC | None = Field(
        default=None, description="the lowest of a logger whose readings are not given, °C, at most the mean"
    )
    inside_max_c: TemperatureC | None = Field(
        default=None, description="the highest of a logger whose readings are not given, °C, at least the mean"
    )

    @model_validator(mode="after")
    def _fields_agree(self) -> Self:
        faults: list[Fault] = []
        if self.opened_at is not None and self.opened_at < self.arrived_at:
            faults.append((("opened_at",), "must not be before arrived_at"))
        if self.departed_at is not None and self.arrived_at < self.departed_at:
            faults.append((("arrived_at",), "must not be before departed_at"))
        if self.logger is not None and self.logger_csv is not None:
            faults.append((("logger_csv",), "must be left out beside logger: give the readings once"))
        if self.logger or self.logger_csv:
            for name, taken in LOGGER_SUMMARY.items():
                if getattr(self, name) is not None:
                    faults.append(((name,), f"must be left out beside readings: their {taken} is taken"))
        wrong = temperature_faults(self.inside_temp_c, self.inside_min_c, self.inside_max_c)
        faults += [((name,), message) for name, message in wrong]
        seen: set[str] = set()
        for i, name in enumerate(self.photos):
            if name in seen:
                faults.append((("photos", i), "must differ from the names before it"))
            seen.add(name)
        refuse(faults)
        return self


class RecheckedLine(RequestModel):
    """Counts of one line about two weeks on; they add up to the plants alive at arrival."""

    line: Count = Field(description="position of the line in the shipment, from 0")
    healthy: Count
    damaged: Count
    dead: Count
    gone: Count = Field(default=0, description="sold or given away since")


class RecheckRequest(RequestModel):
    """How the plants did; a second one replaces the first, which is kept in the history."""

    checked_at: Moment = Field(description="ISO 8601 with an offset")
    notes: LongNote = Field(default="", description="up to 4,000 characters")
    lines: Annotated[list[RecheckedLine], Field(min_length=1, max_length=MAX_LINES)]

    @model_validator(mode="after")
    def _lines_differ(self) -> Self:
        faults: list[Fault] = []
        seen: set[int] = set()
        for i, line in enumerate(self.lines):
            if line.line in seen:
                faults.append((("lines", i, "line"), "must differ from the lines before it"))
            seen.add(line.line)
        refuse(faults)
        return self


def plant_key(genus: str, cultivar: str | None) -> tuple[str, str]:
    """Return what spellings of one plant have in common."""
    return genus.casefold(), (cultivar or "").casefold()
