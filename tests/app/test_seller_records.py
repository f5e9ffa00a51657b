"""Recording a seller: what the call must say of the version it changes, what is refused, what stays open."""

import json
from typing import Any
from urllib.parse import quote

import httpx
import pytest
from sqlalchemy import select

from app.main import create_app
from app.settings import Settings
from app.store.database import Database
from app.store.schema import ledger, sellers, shipments
from tests.app.batches import Fields
from tests.app.client import Client, running_client
from tests.app.ledger_files import csv_bytes, row

PATH = "/v1/sellers/Invented%20Ferns"
NEW = {"If-None-Match": "*"}
WHOLE: Fields = {
    "name": "Invented Ferns",
    "kind": "grower",
    "country": "TH",
    "notes": "Two greenhouses.\nAnswers within a day.",
    "recourse": "refund",
    "packing": {
        "container": "foam_box", "roots": "damp_paper", "heat_pack_hours": 40.0, "heat_packs": 2, "cold_packs": 0,
        "capacity": 30,
    },
    "answers": {
        "grows_plants": True, "exported_here": False, "certificate_days": 3.0, "wrapping": "moss, then film",
        "packed_before_pickup_hours": 4.0, "live_video": True,
    },
}  # fmt: skip


def put(client: Client, body: Any, headers: dict[str, str], path: str = PATH) -> httpx.Response:
    return client.request("PUT", path, json=body, headers=headers)


def recorded(client: Client, body: Any = WHOLE) -> httpx.Response:
    response = put(client, body, NEW)
    assert response.status_code == 201, response.text
    return response


def code_of(response: httpx.Response) -> tuple[int, str]:
    assert response.headers["content-type"] == "application/problem+json"
    return response.status_code, response.json()["code"]


def test_seller_is_recorded_and_shown(ledger_client: Client) -> None:
    response = recorded(ledger_client)
    assert response.headers["location"] == PATH
    answer = response.json()
    assert {name: answer[name] for name in WHOLE} == WHOLE
    assert answer["unknown"] == []
    shown = ledger_client.get(PATH)
    assert shown.json() == answer
    assert shown.headers["etag"] == response.headers["etag"] == answer["etag"]
    assert shown.headers["etag"].startswith('"')
    listed = ledger_client.get("/v1/sellers").json()
    assert listed["items"] == [answer]


def test_everything_is_optional_and_what_is_open_is_asked(ledger_client: Client) -> None:
    answer = recorded(ledger_client, {}).json()
    assert (answer["name"], answer["kind"], answer["notes"], answer["recourse"]) == ("Invented Ferns", None, "", None)
    assert set(answer["packing"].values()) == set(answer["answers"].values()) == {None}
    questions = " ".join(answer["unknown"])
    for words in ("grow the plants", "exported plants to your country", "phytosanitary", "wrap roots and leaves"):
        assert words in questions
    assert "hours before pick-up" in questions
    assert "live video" in questions
    assert all(question.endswith("?") for question in answer["unknown"])
    false_is_known = put(ledger_client, {"answers": {"live_video": False}}, {"If-Match": answer["etag"]}).json()
    assert set(answer["unknown"]) - set(false_is_known["unknown"]) == {"Will it show you the plants in a live video?"}


def test_change_replaces_the_whole_record(ledger_client: Client) -> None:
    first = recorded(ledger_client)
    second = put(ledger_client, {"kind": "reseller"}, {"If-Match": first.headers["etag"]})
    assert second.status_code == 200
    assert "location" not in second.headers
    assert second.headers["etag"] != first.headers["etag"]
    answer = second.json()
    assert (answer["kind"], answer["country"], answer["recourse"]) == ("reseller", None, None)
    assert set(answer["packing"].values()) == {None}


def test_change_needs_the_version_it_changes(ledger_client: Client) -> None:
    etag = recorded(ledger_client).headers["etag"]
    newer = put(ledger_client, {"kind": "exporter"}, {"If-Match": etag}).headers["etag"]
    assert code_of(put(ledger_client, {}, {})) == (428, "precondition_required")
    assert code_of(put(ledger_client, {}, {"If-None-Match": '"other"'})) == (428, "precondition_required")
    assert code_of(put(ledger_client, {}, {"If-Match": etag})) == (412, "precondition_failed")
    assert code_of(put(ledger_client, {}, {"If-Match": f"W/{newer}"})) == (412, "precondition_failed")
    assert code_of(put(ledger_client, {}, {"If-Match": newer.strip('"')})) == (412, "precondition_failed")
    assert code_of(put(ledger_client, {}, NEW)) == (412, "precondition_failed")
    assert ledger_client.get(PATH).json()["kind"] == "exporter"
    assert put(ledger_client, {}, {"If-Match": f'"other", {newer}'}).status_code == 200


def test_new_seller_needs_to_be_said_new(ledger_client: Client) -> None:
    assert code_of(put(ledger_client, {}, {})) == (428, "precondition_required")
    assert code_of(put(ledger_client, {}, {"If-Match": '"any"'})) == (404, "not_found")
    assert code_of(put(ledger_client, {}, {"If-Match": "*"})) == (404, "not_found")
    assert ledger_client.get("/v1/sellers").json()["items"] == []


def test_version_is_checked_before_the_body(ledger_client: Client) -> None:
    broken = {"kind": "shop"}
    assert code_of(put(ledger_client, broken, {"If-Match": '"any"'})) == (404, "not_found")
    etag = recorded(ledger_client).headers["etag"]
    assert code_of(put(ledger_client, broken, {})) == (428, "precondition_required")
    assert code_of(put(ledger_client, broken, {"If-Match": '"old"'})) == (412, "precondition_failed")
    assert code_of(put(ledger_client, broken, {"If-Match": etag})) == (422, "invalid_input")


def test_same_content_is_no_new_version(ledger_client: Client) -> None:
    etag = recorded(ledger_client).headers["etag"]
    assert put(ledger_client, WHOLE, {"If-Match": etag}).headers["etag"] == etag


@pytest.mark.parametrize("name", ["Invented Ferns", "  invented FERNS ", "INVENTED FERNS"])
def test_names_match_after_trimming_and_case_folding(ledger_client: Client, name: str) -> None:
    etag = recorded(ledger_client).headers["etag"]
    changed = put(ledger_client, {"name": name, "kind": "exporter"}, {"If-Match": etag}, f"/v1/sellers/{quote(name)}")
    assert (changed.status_code, changed.json()["name"]) == (200, name.strip())
    assert len(ledger_client.get("/v1/sellers").json()["items"]) == 1


def test_names_match_after_nfc(ledger_client: Client) -> None:
    # U+00ED, and i with U+0301: one letter (Unicode, canonical equivalence).
    one, other = "Jard\u00edn Ficticio", "JARDI\u0301N FICTICIO"
    assert put(ledger_client, {}, NEW, f"/v1/sellers/{quote(one)}").status_code == 201
    assert put(ledger_client, {}, NEW, f"/v1/sellers/{quote(other)}").status_code == 412


def test_name_with_a_slash_keeps_it(ledger_client: Client) -> None:
    response = put(ledger_client, {}, NEW, "/v1/sellers/Ferns%2FMosses")
    assert (response.status_code, response.json()["name"]) == (201, "Ferns/Mosses")
    assert ledger_client.get(response.headers["location"]).status_code == 200


@pytest.mark.parametrize(
    ("body", "pointer", "message"),
    [
        ({"kind": "shop"}, "/kind", "must be grower, exporter or reseller, or null"),
        ({"country": "Thailand"}, "/country", "must be two capital letters, the code of a country"),
        ({"country": "th"}, "/country", "must be two capital letters, the code of a country"),
        ({"country": "XX"}, "/country", "must be the code of a country"),
        ({"notes": "n" * 4001}, "/notes", "must be a text of up to 4,000 characters"),
        ({"notes": "a\u0000b"}, "/notes", "must be a text of up to 4,000 characters"),
        ({"recourse": "maybe"}, "/recourse", "must be refund, replacement or none, or null"),
        ({"packing": {"container": "bag"}}, "/packing/container", "must be foam_box, lined_carton or carton"),
        ({"packing": {"heat_packs": 21}}, "/packing/heat_packs", "must be a whole number, 0 to 20"),
        ({"answers": {"grows_plants": "yes"}}, "/answers/grows_plants", "must be true or false"),
        ({"answers": {"certificate_days": -1}}, "/answers/certificate_days", "must be a number, 0 to 365"),
        ({"answers": {"wrapping": ""}}, "/answers/wrapping", "must be a text of 1 to 120 characters"),
        ({"answers": {"phone": "1"}}, "/answers/phone", "is not known here"),
        ({"kind": "grower", "answers": {"grows_plants": False}}, "/answers/grows_plants", "must not be false"),
        ({"name": "Nowhere Nursery"}, "/name", "must be the name in the address"),
        ({"rating": 5}, "/rating", "is not known here"),
    ],
)
def test_bad_records_are_refused_and_leave_nothing(
    ledger_client: Client, body: Fields, pointer: str, message: str
) -> None:
    response = put(ledger_client, body, NEW)
    assert code_of(response) == (422, "invalid_input")
    [error] = response.json()["errors"]
    assert error["pointer"] == pointer
    assert error["message"].startswith(message)
    assert ledger_client.get("/v1/sellers").json()["items"] == []


@pytest.mark.parametrize("name", ["%20", "%00", "a%07b", "n" * 121])
def test_bad_names_are_refused(ledger_client: Client, name: str) -> None:
    response = put(ledger_client, {}, NEW, f"/v1/sellers/{name}")
    assert code_of(response) == (422, "invalid_input")
    assert response.json()["errors"][0]["pointer"] == "/name"
    assert ledger_client.get(f"/v1/sellers/{name}").status_code == 404


def test_body_must_be_json(ledger_client: Client) -> None:
    asked = ledger_client.request("PUT", PATH, content=b"{", headers=NEW | {"content-type": "application/json"})
    assert code_of(asked) == (400, "malformed_json")
    asked = ledger_client.request("PUT", PATH, content=b"{}", headers=NEW | {"content-type": "text/csv"})
    assert code_of(asked) == (415, "unsupported_media_type")
    not_finite = b'{"answers": {"certificate_days": NaN}}'
    asked = ledger_client.request("PUT", PATH, content=not_finite, headers=NEW | {"content-type": "application/json"})
    assert code_of(asked)[0] == 422


def test_one_of_many_writers_wins_each_time(database_url: str) -> None:
    """Two processes' worth of applications on one database: no change is lost, none is made twice."""
    settings = Settings(database_url=database_url)
    with running_client(create_app(settings)) as one, running_client(create_app(settings)) as other:
        made = [client.start("PUT", PATH, json={}, headers=NEW) for client in (one, other) * 4]
        assert sorted(call.result().status_code for call in made) == [201] + [412] * 7
        etag = one.get(PATH).headers["etag"]
        changed = [
            client.start("PUT", PATH, json={"notes": f"writer {i}"}, headers={"If-Match": etag})
            for i, client in enumerate((one, other) * 4)
        ]
        answers = [call.result() for call in changed]
        assert sorted(answer.status_code for answer in answers) == [200] + [412] * 7
        [winner] = [answer for answer in answers if answer.status_code == 200]
        assert other.get(PATH).json() == winner.json()


def test_reading_makes_no_ledger(tmp_path: Any) -> None:
    file = tmp_path / "ledger.db"
    with running_client(create_app(Settings(database_url=f"sqlite:///{file}"))) as client:
        assert client.get(PATH).status_code == 404
        assert put(client, {}, {"If-Match": '"any"'}).status_code == 404
        assert put(client, {}, {}).status_code == 428
        assert not file.exists()


def test_kind_that_a_fit_reads_marks_its_boxes_as_corrected(ledger_client: Client, database: Database) -> None:
    """A box without a kind of its own has that of its seller, so a fit would read another row."""
    file = csv_bytes(row(), row(shipment="A-2", seller_kind="reseller"), row(shipment="B-1", seller="Nowhere Nursery"))
    ledger_client.post("/v1/shipments/import", content=file, headers={"content-type": "text/csv"}).raise_for_status()
    ledger_client.post(
        "/v1/shipments/import",
        content=csv_bytes(row(shipment="B-2", seller="Nowhere Nursery")),
        headers={"content-type": "text/csv"},
    ).raise_for_status()

    def revisions() -> dict[str, int]:
        with database.reading() as connection:
            query = select(shipments.c.reference, shipments.c.corrected_revision)
            return {str(row.reference): int(row.corrected_revision) for row in connection.execute(query)}

    before = revisions()
    etag = ledger_client.get(PATH).headers["etag"]
    etag = put(ledger_client, {"kind": "reseller", "notes": "x"}, {"If-Match": etag}).headers["etag"]
    assert revisions() == before  # the import has given the seller this kind already
    put(ledger_client, {"kind": "grower"}, {"If-Match": etag})
    after = revisions()
    with database.reading() as connection:
        now = connection.execute(select(ledger.c.revision)).scalar_one()
    assert after == before | {"A-1": now}
    assert now > max(before.values())


def test_record_is_kept_as_json_objects(ledger_client: Client, database: Database) -> None:
    recorded(ledger_client)
    with database.reading() as connection:
        stored = connection.execute(select(sellers.c.packing_json, sellers.c.answers_json)).one()
    assert [json.loads(text) for text in stored] == [WHOLE["packing"], WHOLE["answers"]]
