"""Planning: what is stored is what was given, once; bad plans leave nothing behind."""

import json
import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import select, update

from app.comparing.compare import answer_compare
from app.store.database import Database
from app.store.schema import idempotency_keys, sellers, shipments
from tests.app.batches import COURIER, MONDAY, Fields, compare_request, engine, line
from tests.app.client import Client
from tests.app.past_versions import past_versions
from tests.app.shipment_calls import PATH, PLAN, Box, errors, planned
from tests.moments import NOW


def keyed(client: Client, key: str, body: Fields = PLAN) -> Any:
    return client.post(PATH, json=body, headers={"idempotency-key": key})


def refusal(client: Client, **fields: Any) -> tuple[int, str, str]:
    response = client.post(PATH, json=PLAN | fields)
    assert response.headers["content-type"] == "application/problem+json"
    [error] = response.json()["errors"]
    return response.status_code, error["pointer"], error["message"]


def items(client: Client, query: str = "") -> list[Fields]:
    answer: list[Fields] = client.get(PATH + query).json()["items"]
    return answer


def test_plan_is_answered_whole(ledger_client: Client) -> None:
    response = planned(ledger_client, reference=" spring box ")
    answer = response.json()
    assert re.fullmatch("s[0-9a-f]{24}", answer["id"])
    assert response.headers["location"] == f"{PATH}/{answer['id']}"
    assert re.fullmatch(r'"[^"]+"', response.headers["etag"])
    assert (answer["state"], answer["reference"]) == ("planned", "spring box")
    assert answer["plan"] == PLAN | {"reference": " spring box "}
    assert (answer["arrival"], answer["recheck"], answer["events"], answer["next_steps"]) == (None, None, [], [])
    again = ledger_client.get(response.headers["location"])
    assert (again.json(), again.headers["etag"]) == (answer, response.headers["etag"])


def test_forecast_is_that_of_compare_and_says_its_model_and_seed(ledger_client: Client) -> None:
    forecast = planned(ledger_client, seed=7).json()["forecast"]
    fields = {name: value for name, value in PLAN.items() if name != "ship_date"}
    compared = answer_compare(compare_request(**fields | {"seed": 7}), engine()).routes[0]
    assert forecast["plants"]["healthy"]["mean"] == pytest.approx(compared.plants.healthy.mean)
    assert forecast["transit_days"]["p90"] == pytest.approx(compared.transit_days.p90)
    assert (forecast["seed"], forecast["model_version"]) == (7, engine().model_version)


def test_plan_in_the_past_is_taken_with_a_caution(ledger_client: Client) -> None:
    codes = [caution["code"] for caution in planned(ledger_client, ship_date="2019-03-04").json()["cautions"]]
    assert codes == ["date_unusual"]
    tomorrow = (NOW + timedelta(days=1)).date().isoformat()
    assert planned(ledger_client, ship_date=tomorrow).json()["cautions"] == []


def test_seller_of_a_plan_is_a_seller_of_the_ledger(ledger_client: Client, database: Database) -> None:
    planned(ledger_client, seller="Invented Ferns", seller_kind="grower")
    planned(ledger_client, seller=" INVENTED ferns ")
    with database.reading() as connection:
        assert connection.execute(select(sellers.c.key, sellers.c.kind)).all() == [("invented ferns", "grower")]


@pytest.mark.parametrize(
    ("fields", "pointer", "message"),
    [
        ({"routes": [COURIER, COURIER | {"name": "other"}]}, "/routes", "must be a list of exactly one route"),
        ({"routes": []}, "/routes", "must be a list of exactly one route"),
        (
            {"routes": [COURIER | {"travel": "apart", "boxes": 2}]},
            "/routes/0/travel",
            "must be together: these are 2 boxes",
        ),
        # 32 plants at 10 a box are 4 boxes.
        (
            {"routes": [COURIER | {"travel": "apart"}], "packing": {"capacity": 10}},
            "/routes/0/travel",
            "must be together: these are 4 boxes",
        ),
        ({"lines": [line("Hoya", 2), line("hoya ", 3)]}, "/lines/1/genus", "is the same plant as line 0"),
        ({"reference": ""}, "/reference", "must be a text of 1 to 120 characters"),
        ({"reference": "a\0b"}, "/reference", "must be a text of 1 to 120 characters, none of them a control"),
        ({"seller": "a\x1fb"}, "/seller", "must be a text of 1 to 120 characters, none of them a control"),
        ({"lines": [line("Ho\x7fya", 1)]}, "/lines/0/genus", "must be a text of 1 to 120 characters, none of them"),
        ({"origin": "QQQ"}, "/origin", "must be the code of an airport or a city"),
        ({"refrence": "x"}, "/refrence", "is not known here: did you mean reference?"),
    ],
)
def test_bad_plan_is_refused_and_leaves_nothing(
    ledger_client: Client, fields: Fields, pointer: str, message: str
) -> None:
    status, where, said = refusal(ledger_client, **fields)
    assert (status, where) == (422, pointer)
    assert said.startswith(message)
    assert items(ledger_client) == []


def test_one_box_may_travel_apart(ledger_client: Client) -> None:
    planned(ledger_client, routes=[COURIER | {"travel": "apart"}])


def test_same_genus_in_two_cultivars_is_two_lines(ledger_client: Client) -> None:
    planned(ledger_client, lines=[line("Hoya", 2, cultivar="small"), line("Hoya", 2, cultivar="large")])


def test_reference_is_unique(ledger_client: Client) -> None:
    planned(ledger_client, reference="A-1")
    status, pointer, message = refusal(ledger_client, reference="A-1")
    assert (status, pointer) == (409, "/reference")
    assert message.startswith("is taken by another shipment")
    assert len(items(ledger_client)) == 1


def test_same_key_and_body_replay_the_first_answer(ledger_client: Client) -> None:
    first, second = keyed(ledger_client, "k-1"), keyed(ledger_client, "k-1")
    assert (first.status_code, second.status_code) == (201, 201)
    assert second.content == first.content
    assert [second.headers[n] for n in ("location", "etag")] == [first.headers[n] for n in ("location", "etag")]
    assert keyed(ledger_client, "k-2").json()["id"] != first.json()["id"]
    assert len(items(ledger_client)) == 2


def test_same_key_with_another_body_is_refused(ledger_client: Client) -> None:
    keyed(ledger_client, "k-1")
    other = keyed(ledger_client, "k-1", PLAN | {"seed": 2})
    assert (other.status_code, other.json()["code"]) == (422, "invalid_input")
    assert "Idempotency-Key" in other.json()["errors"][0]["message"]
    assert len(items(ledger_client)) == 1


def test_key_of_a_refused_call_is_free_again(ledger_client: Client) -> None:
    planned(ledger_client, reference="A-1")
    taken = PLAN | {"reference": "A-1"}
    assert [keyed(ledger_client, "k-1", taken).status_code for _ in range(2)] == [409, 409]
    assert keyed(ledger_client, "k-1").status_code == 201


@pytest.mark.parametrize("key", ["", "x" * 201, "é"])
def test_bad_key_is_refused(ledger_client: Client, key: str) -> None:
    response = ledger_client.post(PATH, json=PLAN, headers={b"idempotency-key": key.encode("latin-1")})
    assert response.status_code == 422
    assert items(ledger_client) == []


def test_key_is_kept_seven_days_and_then_removed(ledger_client: Client, database: Database) -> None:
    def age(**by: float) -> None:
        with database.writing() as connection:
            connection.execute(update(idempotency_keys).values(created_at=NOW - timedelta(**by)))

    first = keyed(ledger_client, "k-1").json()["id"]
    age(days=7, minutes=-1)
    assert keyed(ledger_client, "k-1").json()["id"] == first
    age(days=7, minutes=1)
    keyed(ledger_client, "k-2")
    with database.reading() as connection:
        assert connection.execute(select(idempotency_keys.c.key)).scalars().all() == ["k-2"]
    assert keyed(ledger_client, "k-1").json()["id"] != first


def test_call_that_still_runs_is_a_conflict_until_it_must_have_died(ledger_client: Client, database: Database) -> None:
    keyed(ledger_client, "k-1")

    def running_since(moment: datetime) -> None:
        with database.writing() as connection:
            running = {"status": None, "headers_json": None, "answer": None, "created_at": moment}
            connection.execute(update(idempotency_keys).values(running))

    running_since(NOW - timedelta(minutes=5))
    response = keyed(ledger_client, "k-1")
    assert (response.status_code, response.json()["code"]) == (409, "conflict")
    assert "still runs" in response.json()["detail"]
    running_since(NOW - timedelta(minutes=11))
    assert keyed(ledger_client, "k-1").status_code == 201


def test_body_that_is_not_json(ledger_client: Client) -> None:
    assert ledger_client.post(PATH, content=b"{").status_code == 400
    assert ledger_client.post(PATH, content=b"{}", headers={"content-type": "text/csv"}).status_code == 415
    assert ledger_client.post(PATH, content=b" " * (8 * 2**20 + 1)).status_code == 413


def test_forecast_cannot_be_changed(ledger_client: Client, database: Database) -> None:
    """Whatever version of the model serves later: the row is what is shown."""
    response = planned(ledger_client)
    with database.writing() as connection:
        connection.execute(update(shipments).values(ship_date=datetime(2027, 3, 1, tzinfo=UTC).date()))
    again = ledger_client.get(response.headers["location"]).json()
    assert again["forecast"] == response.json()["forecast"]
    assert again["plan"]["ship_date"] == MONDAY


def test_unknown_id(ledger_client: Client) -> None:
    for name in ("s" + 24 * "0", "export2", "a%00b", "%F0%9F%8C%B1"):
        response = ledger_client.get(f"{PATH}/{name}")
        assert (response.status_code, response.json()["code"]) == (404, "not_found")


def test_what_is_stored_is_json_of_the_request(ledger_client: Client, database: Database) -> None:
    body = json.dumps(PLAN, indent=3).encode()
    ledger_client.post(PATH, content=body)
    with database.reading() as connection:
        assert connection.execute(select(shipments.c.plan_json)).scalar_one() == body.decode()


def test_a_plan_is_changed_until_the_box_has_left(ledger_client: Client, database: Database) -> None:
    box = Box(ledger_client, reference="order 12")
    first, tag = box.get(), box.etag
    assert (box.done("PUT", "/plan", json=first["plan"]), box.etag) == (first, tag), "the same again changes nothing"
    anew = PLAN | {"reference": "order 12", "seller": "Invented Palms", "lines": [line("Begonia", 30)]}
    answer = box.done("PUT", "/plan", json=anew)
    assert (answer["id"], answer["reference"], answer["state"]) == (first["id"], "order 12", "planned")
    assert answer["plan"] == anew
    # As if it had been planned so at first.
    assert answer["forecast"] == planned(ledger_client, **anew | {"reference": "another"}).json()["forecast"]
    with database.reading() as connection:
        [past] = past_versions(connection, box.id)
    assert (past.reason, [row["genus"] for row in past.snapshot["lines"]]) == ("plan", ["Aglaonema", "Hoya"])
    assert json.loads(past.snapshot["shipment"]["plan_json"]) == first["plan"]
    listed = {item["reference"]: item for item in items(ledger_client)}["order 12"]
    assert (listed["seller"], [row["genus"] for row in listed["lines"]]) == ("Invented Palms", ["Begonia"])
    box.depart()
    refused = box.call("PUT", "/plan", json=PLAN)
    assert refused.status_code == 409
    assert box.get()["plan"] == anew


def test_a_change_of_plan_is_refused_like_other_changes(ledger_client: Client) -> None:
    planned(ledger_client, reference="taken")
    box = Box(ledger_client)
    for headers, status in (({"if-match": ""}, 428), ({"if-match": '"another"'}, 412)):
        assert box.call("PUT", "/plan", json={}, headers=headers).status_code == status
    unfit = box.call("PUT", "/plan", json=PLAN | {"lines": []})
    assert (unfit.status_code, errors(unfit)[0][0]) == (422, "/lines")
    taken = box.call("PUT", "/plan", json=PLAN | {"reference": "taken"})
    assert (taken.status_code, errors(taken)[0][0]) == (409, "/reference")
    assert ledger_client.request("PUT", f"{PATH}/s{'0' * 24}/plan", json=PLAN).status_code == 404
    assert box.get()["plan"] == PLAN
