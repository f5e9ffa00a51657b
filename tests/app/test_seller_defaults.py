"""What a seller's record fills in where a batch says nothing, and that it is listed and used."""

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from app.batch.batch import prepare
from app.batch.seller_defaults import Filled, with_seller
from app.cli.commands import ask
from app.comparing.compare import answer_compare
from app.schemas.compare import CompareRequest
from app.settings import Settings
from app.store.database import Database
from app.store.seller_records import SellerDetails, SellerRecord, add_seller
from app.store.shipments import list_shipments
from tests.app.batches import BATCH, MONDAY, Fields, compare_request, engine
from tests.app.client import Client

BARE: Fields = {name: value for name, value in BATCH.items() if name not in ("packing", "recourse")} | {
    "ship_date": MONDAY,
    "seller": "Invented Ferns",
    "draws": 256,
}
NOW = datetime(2027, 1, 1, tzinfo=UTC)
USUAL = {"container": "carton", "roots": "dry", "heat_pack_hours": 40, "cold_packs": 1, "capacity": 25}


def seller(packing: Fields | None = None, answers: Fields | None = None, **details: Any) -> SellerRecord:
    """Return a record of an invented seller."""
    packing_json, answers_json = json.dumps(packing or {}), json.dumps(answers or {})
    filled = SellerDetails("Invented Ferns", packing_json=packing_json, answers_json=answers_json, **details)
    return SellerRecord("invented ferns", 1, filled)


def asked(**fields: Any) -> CompareRequest:
    return CompareRequest.model_validate_json(json.dumps(BARE | fields))


def assumed(filled: Filled[CompareRequest]) -> dict[str, Any]:
    """Return what an answer lists as taken from the record, by pointer."""
    listed = prepare(filled.request, engine(), from_record=filled.from_record).assumed
    pointers = [said.pointer for said in listed]
    assert len(pointers) == len(set(pointers))
    return {said.pointer: said.value for said in listed if "on record" in said.why}


def test_no_record_and_an_empty_one_change_nothing() -> None:
    request = asked()
    assert with_seller(request, None) == (request, ())
    assert with_seller(request, seller()) == (request, ())
    assert assumed(with_seller(request, seller())) == {}


def test_record_fills_what_is_left_out() -> None:
    record = seller(USUAL, {"packed_before_pickup_hours": 3}, kind="exporter", recourse="replacement")
    filled = with_seller(asked(), record)
    request, packing = filled.request, filled.request.packing
    assert (packing.container, packing.roots, packing.capacity, packing.cold_packs) == ("carton", "dry", 25, 1)
    assert (packing.heat_pack_hours, packing.heat_packs, packing.wait_hours) == (40, 1, 3)
    assert (request.seller_kind, request.recourse.kind, request.recourse.chance) == ("exporter", "replacement", 0.7)
    assert assumed(filled) == {
        "/seller_kind": "exporter",
        "/recourse/kind": "replacement",
        "/packing/container": "carton",
        "/packing/roots": "dry",
        "/packing/heat_pack_hours": 40,
        "/packing/heat_packs": 1,
        "/packing/cold_packs": 1,
        "/packing/capacity": 25,
        "/packing/wait_hours": 3,
    }
    assert {said.pointer for said in filled.from_record} == assumed(filled).keys()


def test_what_a_request_says_stands_also_where_it_is_the_usual_value() -> None:
    said = {
        "seller_kind": "grower",
        "packing": {
            "container": "foam_box",
            "roots": "damp_wrap",
            "heat_pack_hours": 0,
            "cold_packs": 0,
            "wait_hours": 12,
        },
        "recourse": {"kind": "none"},
    }
    record = seller(USUAL, {"packed_before_pickup_hours": 3}, kind="exporter", recourse="refund")
    filled = with_seller(asked(**said), record)
    # Twenty-five plants go into its carton; nobody knows how many into a foam box.
    assert filled.request == asked(**said)
    assert assumed(filled) == {}


def test_packs_and_their_hours_stay_together() -> None:
    record = seller({"heat_pack_hours": 40, "heat_packs": 3})
    for packing in ({"heat_pack_hours": 72}, {"heat_packs": 2}):
        filled = with_seller(asked(packing=packing), record)
        assert filled.request.packing == asked(packing=packing).packing
    assert with_seller(asked(packing={"cold_packs": 2}), record).request.packing.heat_packs == 3


def test_capacity_goes_with_the_container_it_is_of() -> None:
    record = seller(USUAL)
    assert with_seller(asked(packing={"container": "carton"}), record).request.packing.capacity == 25
    assert with_seller(asked(packing={"container": "foam_box"}), record).request.packing.capacity is None
    assert with_seller(asked(packing={"capacity": 10}), record).request.packing.capacity == 10


def test_request_cannot_say_what_is_on_record() -> None:
    assert "from_record" not in CompareRequest.model_json_schema()["properties"]
    with pytest.raises(ValidationError):
        asked(from_record=[])


def test_kind_on_record_answers_as_the_kind_in_the_request() -> None:
    with_kind = answer_compare(with_seller(asked(), seller(kind="exporter")).request, engine())
    given = answer_compare(asked(seller_kind="exporter"), engine())
    without = answer_compare(asked(), engine())
    assert with_kind.routes == given.routes
    # Exporters' boxes are often in worse shape (a rule of thumb of the trade), so the seller's kind tells.
    assert with_kind.routes[0].plants.healthy.mean < without.routes[0].plants.healthy.mean


def test_wait_before_pick_up_is_the_first_leg() -> None:
    """In a mild origin and a cold destination, hours in the shed are hours not spent in the cold."""
    means = []
    for hours in (0, 12, 48):
        packing = BATCH["packing"] | {"wait_hours": hours, "heat_pack_hours": 0, "heat_packs": 0}
        answer = answer_compare(compare_request(packing=packing, draws=256), engine())
        means.append(answer.routes[0].inside_c.p50)
    unsaid = {"heat_pack_hours": 0, "heat_packs": 0}
    usual = answer_compare(compare_request(packing=BATCH["packing"] | unsaid, draws=256), engine())
    assert means[0] < means[1] < means[2]
    assert usual.routes[0].inside_c.p50 == means[1]  # 12 h unless given


def test_questions_over_http_use_the_record(ledger_client: Client) -> None:
    record = {
        "kind": "exporter",
        "recourse": "refund",
        "packing": {"container": "carton"},
        "answers": {"packed_before_pickup_hours": 3},
    }
    path, headers = "/v1/sellers/Invented Ferns", {"If-None-Match": "*"}
    ledger_client.request("PUT", path, json=record, headers=headers).raise_for_status()
    body = BARE | {"seller": " INVENTED ferns "}
    dates = {"earliest": MONDAY, "latest": MONDAY}
    hold = {name: value for name, value in body.items() if name != "ship_date"} | dates
    size = body | {"target": {"line": 0, "healthy": 10}}
    for question, asks in (("compare", body), ("hold", hold), ("order-size", size)):
        answer = ledger_client.post(f"/v1/{question}", json=asks).json()
        listed = {said["pointer"]: said["value"] for said in answer["assumed"] if "on record" in said["why"]}
        expected = {"/seller_kind": "exporter", "/recourse/kind": "refund", "/packing/container": "carton"}
        assert listed == expected | {"/packing/wait_hours": 3}
        other = ledger_client.post(f"/v1/{question}", json=asks | {"seller": "Nowhere Nursery"}).json()
        assert not [said for said in other["assumed"] if "on record" in said["why"]]


def test_plan_is_stored_as_given_and_forecast_as_compared(ledger_client: Client, database: Database) -> None:
    record = {"kind": "exporter", "packing": {"container": "carton"}}
    path, headers = "/v1/sellers/Invented Ferns", {"If-None-Match": "*"}
    ledger_client.request("PUT", path, json=record, headers=headers).raise_for_status()
    body = BARE | {"routes": BARE["routes"][:1]}
    planned = ledger_client.post("/v1/shipments", json=body).json()
    assert planned["plan"] == body
    compared = ledger_client.post("/v1/compare", json=body).json()["routes"][0]
    assert planned["forecast"]["plants"]["healthy"] == compared["plants"]["healthy"]
    with database.reading() as connection:
        [stored] = list_shipments(connection)
    assert stored.record.container == "carton"
    # The kind stays with the seller, so that a correction of it reaches this box too.
    assert stored.record.seller_kind is None
    given = ledger_client.post("/v1/shipments", json=body | {"seller_kind": "grower"}).json()
    with database.reading() as connection:
        kinds = {shipment.id: shipment.record.seller_kind for shipment in list_shipments(connection)}
    assert kinds[given["id"]] == "grower"


def test_command_line_uses_the_record(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'ledger.db'}"
    with Database(url) as opened, opened.writing() as connection:
        add_seller(connection, "invented ferns", SellerDetails("Invented Ferns", kind="exporter"), now=NOW)
    for name, kinds in (("Invented FERNS", ["exporter"]), ("Nowhere Nursery", [])):
        body = json.dumps(BARE | {"seller": name}).encode()
        text, _ = ask("compare", body, Settings(database_url=url), as_json=True)
        listed = json.loads(text)["assumed"]
        assert [said["value"] for said in listed if said["pointer"] == "/seller_kind"] == kinds
