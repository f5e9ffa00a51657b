"""One call for risk may be so much work: what would fit is told, and is accepted."""

import json
import re

import pytest

from app.problems import MOST_SECONDS, TooMuchWork
from app.risk.risk import answer_risk
from app.risk.work_limit import check_work
from app.schemas.risk import InsideTemperature, RiskQuery, RiskRequest
from model.plant import Plant
from tests.app.batches import engine
from tests.app.client import Client

LANE = {"origin": "BKK", "destination": "DUB", "service": "courier"}


def lane_queries(n: int) -> list[RiskQuery]:
    """Return queries of seasonal weather whose days all differ: each is a journey of its own."""
    query = RiskQuery.model_validate_json(
        json.dumps({"genus": "Hoya", "transit_days": 2, "ship_date": "2027-01-11", "temperature": LANE})
    )
    return [query.model_copy(update={"transit_days": 2 + i / 200}) for i in range(n)]


def check(queries: list[RiskQuery]) -> None:
    check_work(
        queries,
        [i for i, query in enumerate(queries) if type(query.temperature) is not InsideTemperature],
        [PLANT] * len(queries),
    )


PLANT = Plant(engine().reference.genera["Hoya"])


def test_ten_thousand_journeys_are_refused_with_as_many_as_would_do() -> None:
    """250 took 3 s, ten thousand about two minutes."""
    queries = lane_queries(10_000)
    with pytest.raises(TooMuchWork) as refused:
        answer_risk(RiskRequest.model_construct(queries=queries), engine())
    [error] = refused.value.errors
    assert error.pointer == "/queries"
    said = re.search(r"send the first ([\d,]+) queries", error.message)
    assert said is not None
    fitting = int(said[1].replace(",", ""))
    check(queries[:fitting])
    with pytest.raises(TooMuchWork):
        check(queries[: fitting + 1])


def test_a_journey_that_queries_share_counts_once() -> None:
    check(lane_queries(2) * 5_000)


def test_usual_calls_are_far_below_the_limit() -> None:
    """Ten thousand constant temperatures, and fifty lanes."""
    constant = {"genus": "Hoya", "transit_days": 90, "temperature": {"inside_c": 20}}
    check([RiskQuery.model_validate(constant)] * 10_000)
    check(lane_queries(int(50 * MOST_SECONDS)))


def test_the_refusal_has_a_code_of_its_own(client: Client) -> None:
    queries = [query.model_dump(mode="json") for query in lane_queries(5_000)]
    refused = client.post("/v1/risk", json={"queries": queries})
    assert (refused.status_code, refused.json()["code"]) == (422, "too_much_work")
