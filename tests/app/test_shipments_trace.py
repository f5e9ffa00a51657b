"""The trace of a logger: its mean, and every way it can be nonsense, refused reading by reading."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import func, select

from app.boxes.traces import time_weighted_mean
from app.store.database import Database
from app.store.schema import logger_readings
from app.store.shipment_life import Reading
from tests.app.batches import Fields
from tests.app.client import Client
from tests.app.shipment_calls import ARRIVAL, Box

START = datetime(2027, 1, 13, tzinfo=UTC)


def at(hours: float) -> str:
    """Return a moment so many hours after midnight of the 13th, UTC; the box is under way."""
    return (START + timedelta(hours=hours)).isoformat()


def trace(*readings: tuple[float, float]) -> list[Fields]:
    return [{"at": at(hours), "inside_c": inside_c} for hours, inside_c in readings]


def csv(*rows: str) -> str:
    return "\n".join(["at,inside_c", *rows])


def transit_box(client: Client) -> Box:
    box = Box(client)
    box.depart()
    return box


def refused(box: Box, **fields: Any) -> list[Fields]:
    before = box.get()
    response = box.call("PUT", "/arrival", json=ARRIVAL | fields)
    assert (response.status_code, response.json()["code"]) == (422, "invalid_input"), response.text
    assert box.get() == before
    errors: list[Fields] = response.json()["errors"]
    return errors


def test_mean_is_weighted_by_time(ledger_client: Client) -> None:
    """20 °C rising to 26 over 1 h (mean 23), then falling to 10 over 3 h (mean 18): (23 + 3 x 18) / 4 = 19.25."""
    arrival = transit_box(ledger_client).arrive(logger=trace((0, 20), (1, 26), (4, 10)))["arrival"]
    assert arrival["inside_temp_c"] == pytest.approx(19.25)
    summary = {name: arrival["logger_summary"][name] for name in ("readings", "mean_c", "min_c", "max_c")}
    assert summary == {"readings": 3, "mean_c": pytest.approx(19.25), "min_c": 10, "max_c": 26}
    assert [reading["inside_c"] for reading in arrival["logger"]] == [20, 26, 10]


def test_a_single_reading_is_its_own_mean() -> None:
    assert time_weighted_mean([Reading(START, 21.5)]) == 21.5


def test_csv_is_the_same_trace(ledger_client: Client) -> None:
    box = transit_box(ledger_client)
    listed = box.arrive(logger=trace((0, 20.5), (6, 26)))["arrival"]
    for text in (
        csv(f"{at(0)},20.5", f"{at(6)},26"),
        f"Inside_C;humidity;At\r\n20,5;81;{at(0)}\r\n26;;2027-01-13 13:00+07:00\r\n",
        f'"at"\t"inside_c"\n{at(0)}\t20.5\n\n{at(6)}\t26.0\n',
    ):
        assert box.arrive(logger_csv=text)["arrival"] == listed


def test_trace_that_covers_little_has_a_caution(ledger_client: Client) -> None:
    """12 of the 128 hours of the journey are 9 %."""
    box = transit_box(ledger_client)
    texts = {c["code"]: c["text"] for c in box.arrive(logger=trace((0, 20), (6, 20), (12, 20)))["cautions"]}
    assert "covers 9 %" in texts["logger_partial"]
    whole = trace(*((hours, 20.0) for hours in range(-46, 83, 4)))
    assert "logger_partial" not in {c["code"] for c in box.arrive(logger=whole)["cautions"]}


def test_next_arrival_without_a_trace_takes_it_out(ledger_client: Client, database: Database) -> None:
    box = transit_box(ledger_client)
    box.arrive(logger=trace((0, 20)))
    assert box.arrive()["arrival"]["inside_temp_c"] is None
    with database.reading() as connection:
        assert connection.execute(select(func.count()).select_from(logger_readings)).scalar() == 0


@pytest.mark.parametrize(
    ("readings", "pointer", "message"),
    [
        (trace((0, 20), (0, 21)), "/logger/1/at", "must be later than the reading before it"),
        (trace((1, 20), (0, 21)), "/logger/1/at", "must be later than the reading before it"),
        (trace((0, 20), (6.01, 21)), "/logger/1/at", "must be at most 6 h after the reading before it"),
        (trace((0, 61)), "/logger/0/inside_c", "must be a number, -40 to 60"),
        (trace((0, -40.5)), "/logger/0/inside_c", "must be a number, -40 to 60"),
        (trace((-46.5, 20)), "/logger/0/at", "is before the departure"),
        (trace((82.5, 20)), "/logger/0/at", "is after the opening"),
        ([{"at": "2027-01-13T00:00:00", "inside_c": 20}], "/logger/0/at", "must be a moment of ISO 8601 with its"),
        ([{"at": at(0), "inside_c": None}], "/logger/0/inside_c", "must be a number"),
    ],
)
def test_nonsense_is_refused_at_its_reading(
    ledger_client: Client, readings: list[Fields], pointer: str, message: str
) -> None:
    [error] = refused(transit_box(ledger_client), logger=readings)
    assert error["pointer"] == pointer
    assert error["message"].startswith(message)


def test_trace_of_another_week_is_refused(ledger_client: Client) -> None:
    """Every reading is named, up to a hundred."""
    box = transit_box(ledger_client)
    later = trace(*((24 * 7 + hours, 20.0) for hours in range(5)))
    errors = refused(box, logger=later)
    assert [error["pointer"] for error in errors] == [f"/logger/{i}/at" for i in range(5)]
    rows = [f"{reading['at']},20" for reading in trace(*((hours - 24 * 7, 20.0) for hours in range(120)))]
    errors = refused(box, logger_csv=csv(*rows))
    assert [(error["row"], error["column"]) for error in errors] == [(i + 2, "at") for i in range(100)]


def test_without_a_known_departure_a_trace_may_begin_on_its_day(ledger_client: Client) -> None:
    """The 11th begins in Semarang at 17:00 UTC on the 10th."""
    box = Box(ledger_client)
    begin = datetime(2027, 1, 10, 17, tzinfo=UTC)
    early = [{"at": (begin - timedelta(minutes=1)).isoformat(), "inside_c": 20}]
    assert refused(box, logger=early)[0]["message"].startswith("is before the departure")
    box.arrive(logger=[{"at": begin.isoformat(), "inside_c": 20}])


@pytest.mark.parametrize(
    ("text", "row", "column", "message"),
    [
        (csv(f"{at(0)},20", f"{at(1)},warm"), 3, "inside_c", "must be a number, -40 to 60"),
        (csv(f"{at(0)},20", f"{at(1)}"), 3, "inside_c", "is required"),
        (csv("2027-01-13T00:00:00,20"), 2, "at", "needs its offset from UTC"),
        (csv("13/01/2027 00:00,20"), 2, "at", "must be a moment of ISO 8601"),
        (csv(f"{at(0)},20", f"{at(7)},20"), 3, "at", "must be at most 6 h after the reading before it"),
        (csv(f"{at(0)},20", f"{at(0)},20"), 3, "at", "must be later than the reading before it"),
        ("time,inside_c\n", 1, "at", "is missing in the header"),
        ("at,at,inside_c\n", 1, "at", "stands twice in the header"),
        (csv(f'"{at(0)},20'), 2, None, "has a quotation mark out of place"),
        ("", None, None, "is empty"),
    ],
)
def test_nonsense_in_a_csv_is_refused_at_its_cell(
    ledger_client: Client, text: str, row: int | None, column: str | None, message: str
) -> None:
    [error] = refused(transit_box(ledger_client), logger_csv=text)
    assert (error["pointer"], error.get("row"), error.get("column")) == ("/logger_csv", row, column)
    assert error["message"].startswith(message)


def test_header_alone_is_no_trace(ledger_client: Client) -> None:
    assert transit_box(ledger_client).arrive(logger_csv="at,inside_c\n")["arrival"]["logger"] == []


def test_readings_are_given_once(ledger_client: Client) -> None:
    box = transit_box(ledger_client)
    readings = trace((0, 20))
    assert refused(box, logger=readings, logger_csv="at,inside_c\n")[0]["pointer"] == "/logger_csv"
    for name in ("inside_temp_c", "inside_min_c", "inside_max_c"):
        assert refused(box, logger=readings, **{name: 20})[0]["pointer"] == f"/{name}"


def test_extremes_are_those_of_the_readings_or_as_given(ledger_client: Client) -> None:
    box = transit_box(ledger_client)
    names = ("inside_temp_c", "inside_min_c", "inside_max_c")
    read = box.arrive(logger=trace((0, 20), (1, 26), (4, 10)))["arrival"]
    assert [read[name] for name in names] == [pytest.approx(19.25), 10, 26]
    told = box.arrive(inside_min_c=12.5, inside_max_c=31)["arrival"]
    assert [told[name] for name in names] == [None, 12.5, 31]


@pytest.mark.parametrize(
    ("fields", "pointer"),
    [
        ({"inside_temp_c": 20, "inside_min_c": 20.5}, "/inside_min_c"),
        ({"inside_temp_c": 20, "inside_max_c": 19.5}, "/inside_max_c"),
        ({"inside_min_c": 20, "inside_max_c": 19.5}, "/inside_max_c"),
        ({"inside_max_c": 61}, "/inside_max_c"),
    ],
)
def test_extremes_lie_about_the_mean(ledger_client: Client, fields: Fields, pointer: str) -> None:
    assert [error["pointer"] for error in refused(transit_box(ledger_client), **fields)] == [pointer]


@pytest.mark.long
def test_most_readings(ledger_client: Client, database: Database) -> None:
    """A hundred thousand are kept; one more is refused, as a list and as a file."""
    box = transit_box(ledger_client)
    rows = [f"{(START + timedelta(seconds=i)).isoformat()},20" for i in range(100_001)]
    [error] = refused(box, logger_csv=csv(*rows))
    assert error["message"].startswith("has more than 100,000 readings")
    long = [{"at": row[:25], "inside_c": 20} for row in rows]
    [error] = refused(box, logger=long)
    assert (error["pointer"], error["message"]) == ("/logger", "must be a list of up to 100,000 entries, or null")
    assert box.call("PUT", "/arrival", json=ARRIVAL | {"logger_csv": csv(*rows[1:])}).status_code == 200
    with database.reading() as connection:
        assert connection.execute(select(func.count()).select_from(logger_readings)).scalar() == 100_000


def test_trace_of_fifty_megabytes(ledger_client: Client) -> None:
    box = transit_box(ledger_client)
    before = box.get()
    response = box.call("PUT", "/arrival", content=b" " * (50 * 2**20), headers={"content-type": "application/json"})
    assert (response.status_code, response.json()["code"]) == (413, "too_large")
    assert box.get() == before
