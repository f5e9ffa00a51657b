"""Bodies that are refused before anything is read off them."""

import json

import pytest

from app.problems import InvalidInput, MalformedJson
from app.schemas.compare import CompareRequest
from app.schemas.json_text import MOST_FIELDS, MOST_VALUES, check_json
from app.schemas.request_body import RequestBody
from app.schemas.risk import RiskRequest

RISK = RequestBody(RiskRequest)
QUERY = '{"genus": "Hoya", "transit_days": 6, "temperature": {"inside_c": 20}'


@pytest.mark.parametrize(
    ("text", "name"),
    [
        (f'{{"queries": [{QUERY}, "genus": "Begonia"}}]}}', "genus"),
        (f'{{"queries": [], "queries": [{QUERY}}}]}}', "queries"),
        # The same name, written otherwise (RFC 8259, section 8.3).
        (f'{{"queries": [{QUERY}, "gen\\u0075s": "Begonia"}}]}}', "genus"),
    ],
)
def test_a_field_that_stands_twice_in_one_object_is_refused(text: str, name: str) -> None:
    with pytest.raises(MalformedJson, match=f"the field {name} stands twice in one object"):
        RISK.parse(text.encode())


def test_the_same_field_in_two_objects_is_usual() -> None:
    assert len(RISK.parse(f'{{"queries": [{QUERY}}}, {QUERY}}}]}}'.encode()).queries) == 2


def test_a_body_of_unknown_fields_is_refused_before_they_are_listed() -> None:
    """600,000 of them were 7 MB, and named one by one took seconds."""
    fields = ",".join(f'"f{i}": 1' for i in range(MOST_FIELDS + 1))
    with pytest.raises(InvalidInput) as refused:
        RISK.parse(f"{{{fields}}}".encode())
    [error] = refused.value.errors
    assert error.message == "must not have an object with more than 1,000 fields"


def test_a_body_of_more_values_than_any_request_is_refused() -> None:
    """Each field that is missing would carry a copy of them all."""
    with pytest.raises(InvalidInput) as refused:
        RequestBody(CompareRequest).parse(b'{"lines": [' + b"{}," * (MOST_VALUES + 1) + b"{}]}")
    assert [error.message for error in refused.value.errors] == ["must hold at most 1,000,000 values"]


def test_what_a_large_body_lacks_is_told_before_it_is_read() -> None:
    """Each of the five fields that are missing would carry a copy of all values: seconds of CPU."""
    with pytest.raises(InvalidInput) as refused:
        RequestBody(CompareRequest).parse(b'{"lines": [' + b"{}," * 100_000 + b"{}]}")
    assert {error.pointer for error in refused.value.errors} == {
        "/origin", "/destination", "/ship_date", "/routes",
    }  # fmt: skip
    assert all(error.message.startswith("is required: ") for error in refused.value.errors)


@pytest.mark.parametrize("data", [b"", b"{", b"\xff", b"[" * 100_000, b"nul", b"1" * 10_000])
def test_what_is_no_json_is_left_to_who_reads_it(data: bytes) -> None:
    check_json(data)
    with pytest.raises((MalformedJson, InvalidInput)):
        RISK.parse(data)


def test_the_largest_request_may_be_sent() -> None:
    days = [{"min_c": 10, "max_c": 20}] * 90
    query = {"genus": "Hoya", "transit_days": 90, "temperature": {"daily": days}}
    check_json(json.dumps({"queries": [query] * 2_500}).encode())
