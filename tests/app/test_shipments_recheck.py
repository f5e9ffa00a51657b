"""A recheck, and shipments that came from a file or go into one."""

import pytest
from sqlalchemy import select

from app.store.database import Database
from app.store.schema import lines
from tests.app.batches import Fields
from tests.app.client import Client
from tests.app.ledger_files import RECHECKED, csv_bytes, row
from tests.app.past_versions import past_versions
from tests.app.shipment_calls import (
    PATH,
    RECHECK,
    Box,
    errors,
    first_line,
    revisions,
)


def test_recheck_is_answered_with_the_late_loss(ledger_client: Client, database: Database) -> None:
    box = Box(ledger_client)
    box.arrive()
    answer = box.done("PUT", "/recheck", json=RECHECK | {"notes": "one leaf"})
    recheck = answer["recheck"]
    assert (recheck["recheck_date"], recheck["notes"]) == ("2027-01-30", "one leaf")
    # Of 15 healthy one is gone and 13 are healthy still; of 9 healthy all are: one of 23 was lost.
    assert recheck["late_loss_share"] == pytest.approx(1 / 23)
    assert [line["gone"] for line in recheck["lines"]] == [1, 0]
    # The fit of the clock reads the counts at unboxing only.
    assert revisions(database) == ([2], [2])


@pytest.mark.parametrize(
    ("body", "pointer", "message"),
    [
        (RECHECK | {"lines": [{"line": 0, "healthy": 18, "damaged": 0, "dead": 1}]}, "/lines/0/dead",
         "healthy, damaged, dead and gone must add up to the plants alive at arrival, 18"),
        (RECHECK | {"lines": [{"line": 2, "healthy": 1, "damaged": 0, "dead": 0}]}, "/lines/0/line",
         "must be the position of a line of the shipment, 0 to 1"),
        (RECHECK | {"lines": [RECHECK["lines"][0]] * 2}, "/lines/1/line", "must differ from the lines before it"),
        (RECHECK | {"checked_at": "2027-01-16T09:00:00Z"}, "/checked_at", "must not be before the opening"),
        (RECHECK | {"lines": []}, "/lines", "must be a list of 1 to 400 entries"),
    ],
)  # fmt: skip
def test_bad_recheck(ledger_client: Client, body: Fields, pointer: str, message: str) -> None:
    box = Box(ledger_client)
    box.arrive()
    before = box.get()
    response = box.call("PUT", "/recheck", json=body)
    assert response.status_code == 422
    assert dict(errors(response))[pointer].startswith(message)
    assert box.get() == before


def test_recheck_before_arrival(ledger_client: Client) -> None:
    assert Box(ledger_client).call("PUT", "/recheck", json=RECHECK).status_code == 409


def test_recheck_is_corrected_with_its_history(ledger_client: Client, database: Database) -> None:
    box = Box(ledger_client)
    box.arrive()
    box.done("PUT", "/recheck", json=RECHECK)
    box.done("PUT", "/recheck", json=RECHECK | {"lines": RECHECK["lines"][:1]})
    with database.reading() as connection:
        last = past_versions(connection, box.id)[-1]
        now = connection.execute(select(lines.c.recheck_healthy).order_by(lines.c.position)).scalars().all()
    assert (last.reason, last.snapshot["lines"][1]["recheck_healthy"]) == ("recheck", 9)
    assert now == [13, None]


def test_recheck_stays_while_it_adds_up(ledger_client: Client) -> None:
    box = Box(ledger_client)
    box.arrive()
    rechecked = box.done("PUT", "/recheck", json=RECHECK)["recheck"]["lines"]
    # 18 alive as before, 14 healthy and 4 damaged.
    assert box.arrive(**first_line(healthy=14, damaged=4))["recheck"]["lines"] == rechecked
    answer = box.arrive(**first_line(healthy=14, dead=3))
    assert answer["recheck"] is None
    assert "recheck_dropped" in [caution["code"] for caution in answer["cautions"]]
    assert "recheck_dropped" not in [caution["code"] for caution in box.get()["cautions"]]


def test_box_from_a_file_is_corrected_and_looked_at_again(ledger_client: Client) -> None:
    data = csv_bytes(row(inside_temp_c="21.5"), row(genus="Hoya", inside_temp_c="21.5", damaged="", dead=""))
    ledger_client.post(f"{PATH}/import", content=data, headers={"content-type": "text/csv"})
    [item] = ledger_client.get(PATH).json()["items"]
    path, tag = f"{PATH}/{item['id']}", item["etag"]
    answer = ledger_client.get(path).json()
    assert (answer["plan"], answer["forecast"]) == (None, None)
    assert answer["arrival"]["transit_days"] == pytest.approx(5 + 7 / 24)  # SRG is 7 h ahead of GLA in winter
    # 15 of 20 healthy, the others unknown: 15 to 20 were alive.
    body = {"checked_at": "2027-01-30T10:00:00Z", "lines": [{"line": 1, "healthy": 14, "damaged": 0, "dead": 0}]}
    response = ledger_client.request("PUT", f"{path}/recheck", json=body, headers={"if-match": tag})
    assert errors(response)[0][1].endswith("alive at arrival, 15 to 20")
    body["lines"][0]["gone"] = 4  # type: ignore[index]
    response = ledger_client.request("PUT", f"{path}/recheck", json=body, headers={"if-match": tag})
    assert response.status_code == 200
    counts = [{"line": i, "sent": 20, "healthy": 16, "damaged": 2, "dead": 2} for i in (0, 1)]
    arrival = {"arrived_at": "2027-01-16T10:00:00Z", "inside_temp_c": 21.5, "lines": counts}
    etag = {"if-match": response.headers["etag"]}
    corrected = ledger_client.request("PUT", f"{path}/arrival", json=arrival, headers=etag).json()
    assert [line["healthy"] for line in corrected["arrival"]["lines"]] == [16, 16]
    assert corrected["recheck"] is not None


def test_planned_box_is_exported_once_arrived(ledger_client: Client) -> None:
    box = Box(ledger_client, reference="P-1", seller="Invented Ferns")
    assert ledger_client.get(f"{PATH}/export").text.count("\n") == 1
    box.depart()
    box.arrive()
    box.done("PUT", "/recheck", json=RECHECK)
    exported = ledger_client.get(f"{PATH}/export").text.splitlines()
    assert exported[1].startswith(
        "P-1,Invented Ferns,courier,SRG,GLA,foam_box,damp_wrap,72,2027-01-11,2027-01-16,,Aglaonema,,20,15,3,2,"
    )
    response = ledger_client.post(f"{PATH}/import", content=ledger_client.get(f"{PATH}/export").content)
    expected = {"added": 0, "unchanged": 1, "replaced": 0, "lines": 2, "doubtful": [], "unchecked": 0}
    assert response.json() == expected


def test_file_may_replace_a_planned_box(ledger_client: Client) -> None:
    box = Box(ledger_client, reference="A-1")
    data = csv_bytes(row() | RECHECKED)
    assert ledger_client.post(f"{PATH}/import", content=data).status_code == 409
    assert ledger_client.post(f"{PATH}/import?replace=true", content=data).status_code == 200
    answer = box.get()
    assert (answer["state"], answer["arrival"]["lines"][0]["genus"]) == ("arrived", "Aglaonema")
    assert answer["recheck"]["recheck_date"] == "2027-01-30"
    assert answer["plan"] is not None


def test_lines_that_a_file_has_put_in_their_place_are_corrected(ledger_client: Client) -> None:
    box = Box(ledger_client, reference="A-1")
    ledger_client.post(f"{PATH}/import?replace=true", content=csv_bytes(row(genus="Hoya")))
    box.get()
    counts = [{"line": 0, "sent": 20, "healthy": 20, "damaged": 0, "dead": 0}]
    [line] = box.arrive(lines=counts)["arrival"]["lines"]
    assert (line["genus"], line["healthy"]) == ("Hoya", 20)
