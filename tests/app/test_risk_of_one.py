"""One line of plants by the parameters of an address: JSON as the POST answers it, or CSV for a cell."""

import csv
import io
import json

import httpx
import pytest

from app.risk.one_line import LONGEST_ADDRESS, MOST_KNOWN, KnownAnswers, OneAnswer
from app.schemas.risk_parameters import RISK_COLUMNS
from tests.app.client import Client

PATH = "/v1/risk"
HOYA = {"genus": "Hoya", "transit_days": "6", "inside_c": "20", "seller_kind": "grower"}
SAME = {"genus": "Hoya", "transit_days": 6, "temperature": {"inside_c": 20}, "seller_kind": "grower"}


def posted(client: Client, query: dict[str, object]) -> httpx.Response:
    return client.post(PATH, json={"queries": [query]})


@pytest.mark.parametrize(
    ("asked", "query"),
    [
        (HOYA | {"cultivar": "", "heat_packs": " "}, SAME),
        (
            {"genus": "Begonia", "transit_days": "4.5", "min_c": "-3", "max_c": "6.5", "heat_pack_hours": "72"},
            {
                "genus": "Begonia",
                "transit_days": 4.5,
                "temperature": {"daily": [{"min_c": -3, "max_c": 6.5}]},
                "heat_pack_hours": 72,
            },
        ),
        (
            {"genus": "12", "origin": "SRG", "destination": "GLA", "service": "courier", "transit_days": "5"}
            | {"ship_date": "2027-01-11"},
            {
                "genus": "12",
                "transit_days": 5,
                "ship_date": "2027-01-11",
                "service": "courier",
                "temperature": {"origin": "SRG", "destination": "GLA", "service": "courier"},
            },
        ),
    ],
)
def test_it_answers_as_the_post_does(client: Client, asked: dict[str, str], query: dict[str, object]) -> None:
    answer = client.get(PATH, params=asked)
    assert answer.status_code == 200
    assert answer.content == posted(client, query).content


def test_a_row_of_csv_has_the_numbers_of_the_answer(client: Client) -> None:
    """RFC 4180; a decimal point, and no line end after the last row: a cell would hold it too."""
    [result] = client.get(PATH, params=HOYA).json()["results"]
    by_parameter = client.get(PATH, params=HOYA | {"format": "csv"})
    by_header = client.get(PATH, params=HOYA, headers={"accept": "text/csv"})
    assert by_parameter.content == by_header.content
    assert by_parameter.headers["content-type"] == "text/csv; charset=utf-8; header=present"
    assert not by_parameter.text.endswith("\n")
    [row] = csv.DictReader(io.StringIO(by_parameter.text))
    assert tuple(row) == RISK_COLUMNS
    for name in ("healthy", "damaged", "dead", "healthy_two_weeks"):
        for end, own in (("", "mean"), ("_low", "low"), ("_high", "high")):
            assert float(row[name + end]) == pytest.approx(result[name][own], abs=1e-6)
    assert row["cautions"] == "no_own_record"
    two = client.get(PATH, params=HOYA | {"format": "csv", "only": "dead,healthy", "header": "true"}).text
    assert two.splitlines() == ["dead,healthy", f"{row['dead']},{row['healthy']}"]


def test_a_cell_gets_one_number(client: Client) -> None:
    answer = client.get(PATH, params=HOYA | {"format": "csv", "only": "healthy_two_weeks"})
    assert answer.text == str(float(answer.text))
    assert 0.5 < float(answer.text) < 1.0


def test_the_same_is_not_sent_twice(client: Client) -> None:
    first = client.get(PATH, params=HOYA)
    assert first.headers["cache-control"] == "private, no-cache"
    etag = first.headers["etag"]
    for known in (etag, f'"other", W/{etag}'):
        again = client.get(PATH, params=HOYA, headers={"if-none-match": known})
        assert (again.status_code, again.content, again.headers["etag"]) == (304, b"", etag)
    others = [HOYA | {"transit_days": "7"}, HOYA | {"format": "csv"}, HOYA | {"format": "csv", "only": "dead"}]
    answers = [client.get(PATH, params=other, headers={"if-none-match": etag}) for other in others]
    assert [answer.status_code for answer in answers] == [200] * 3
    assert len({etag, *(answer.headers["etag"] for answer in answers)}) == 4


def test_no_more_answers_are_kept_than_there_is_room_for() -> None:
    known, answer = KnownAnswers(), OneAnswer('"e"', b"", "text/csv")
    addresses = [b"%d" % i for i in range(MOST_KNOWN + 2)]
    for address in (*addresses, b"x" * (LONGEST_ADDRESS + 1)):
        known.keep(("rules", address, False), answer)
    kept = [address for address in addresses if known.get(("rules", address, False))]
    assert kept == addresses[2:]
    assert known.get(("rules", b"x" * (LONGEST_ADDRESS + 1), False)) is None
    assert known.get(("other", addresses[-1], False)) is None


@pytest.mark.parametrize(
    ("changed", "pointers"),
    [
        ({"genus": ""}, ["/genus"]),
        ({"transit_days": "6,5"}, ["/transit_days"]),
        ({"transit_days": "1e1"}, ["/transit_days"]),
        ({"heat_packs": "1.5"}, ["/heat_packs"]),
        ({"inside_c": ""}, ["/inside_c"]),
        ({"min_c": "3"}, ["/min_c"]),
        ({"inside_c": "", "min_c": "3"}, ["/max_c"]),
        ({"inside_c": "", "min_c": "9", "max_c": "3"}, ["/min_c"]),
        (
            {"inside_c": "", "origin": "BKK", "destination": "dub", "ship_date": "2027-01-11"},
            ["/destination", "/service"],
        ),
        ({"inside_c": "", "origin": "BKK", "destination": "DUB", "service": "post"}, ["/ship_date"]),
        (
            {"inside_c": "", "origin": "BKK", "destination": "QQQ", "service": "post", "ship_date": "2027-01-11"},
            ["/destination"],
        ),
        ({"temperature": "20"}, ["/temperature"]),
        ({"only": "dead"}, ["/only"]),
        ({"format": "xml"}, ["/format"]),
        ({"format": "csv", "only": "doomed", "header": "yes"}, ["/only", "/header"]),
    ],
)
def test_what_is_wrong_is_told_by_parameter(client: Client, changed: dict[str, str], pointers: list[str]) -> None:
    """A problem as elsewhere; where CSV is asked for, one line that a cell or a browser shows."""
    refused = client.get(PATH, params=HOYA | changed)
    assert refused.status_code == 422
    if changed.get("format") == "csv":
        [[told]] = csv.reader(io.StringIO(refused.text))
        assert refused.headers["content-type"] == "text/csv; charset=utf-8; header=absent"
        assert told.startswith("error: ")
        assert [part.partition(": ")[0] for part in told.removeprefix("error: ").split("; ")] == pointers
    else:
        problem = json.loads(refused.content)
        assert refused.headers["content-type"] == "application/problem+json"
        assert [error["pointer"] for error in problem["errors"]] == pointers


def test_a_parameter_given_twice_is_refused(client: Client) -> None:
    refused = client.get(f"{PATH}?genus=Hoya&genus=Ficus&transit_days=6&inside_c=20")
    assert [error["message"] for error in refused.json()["errors"]] == ["is given twice"]
