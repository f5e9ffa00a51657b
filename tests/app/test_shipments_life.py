"""A box from departure to recheck: states, order of refusals, corrections that keep what was there before."""

from typing import Any

import pytest
from sqlalchemy import select

from app.store.arrived import read_arrived
from app.store.database import Database
from app.store.history import past_versions
from app.store.schema import events, lines, shipments
from tests.app.batches import Fields
from tests.app.client import Client
from tests.app.ledger_files import RECHECKED, csv_bytes, row
from tests.app.shipment_calls import ARRIVAL, COUNTS, DEPARTED, PATH, RECHECK, Box, planned

HELD = {"at": "2027-01-13T08:00:00Z", "kind": "held", "note": "permit asked for"}
LOST = {"at": "2027-02-20T08:00:00Z", "kind": "lost", "note": ""}


def errors(response: Any) -> list[tuple[str, str]]:
    assert response.headers["content-type"] == "application/problem+json"
    return [(error["pointer"], error["message"]) for error in response.json()["errors"]]


def revisions(database: Database) -> tuple[list[int], list[int]]:
    with database.reading() as connection:
        table = read_arrived(connection).shipments
    return table.arrived_revision.tolist(), table.corrected_revision.tolist()


def steps(answer: Fields) -> dict[str, Fields]:
    return {step["code"]: step for step in answer["next_steps"]}


# Departure and news


def test_departure_puts_a_box_in_transit(ledger_client: Client) -> None:
    box = Box(ledger_client)
    before = box.etag
    answer = box.depart()
    assert (answer["state"], answer["departed_at"]) == ("in_transit", "2027-01-11T02:00:00Z")
    assert box.etag != before
    assert box.get() == answer


def test_departed_event_is_a_departure(ledger_client: Client) -> None:
    box = Box(ledger_client)
    answer = box.done("PATCH", json={"events": [{"at": DEPARTED, "kind": "departed"}, HELD]})
    assert (answer["state"], answer["departed_at"]) == ("in_transit", "2027-01-11T02:00:00Z")
    assert [event["kind"] for event in answer["events"]] == ["departed", "held"]


def test_local_day_of_departure_is_the_day_of_shipping(ledger_client: Client, database: Database) -> None:
    """23:00 UTC on the 14th is 06:00 on the 15th in Bangkok (UTC+7)."""
    Box(ledger_client).depart(departed_at="2027-01-14T23:00:00Z")
    with database.reading() as connection:
        assert connection.execute(select(shipments.c.ship_date)).scalar_one().isoformat() == "2027-01-15"


def test_events_are_added_and_equal_ones_ignored(ledger_client: Client) -> None:
    box = Box(ledger_client)
    box.depart(events=[HELD])
    etag = box.etag
    # The same moment, written with another offset.
    same = HELD | {"at": "2027-01-13T15:00:00+07:00"}
    assert len(box.done("PATCH", json={"events": [same, HELD]})["events"]) == 1
    assert len(box.done("PATCH", json={"events": []})["events"]) == 1
    assert box.etag == etag
    earlier = {"at": "2027-01-12T08:00:00Z", "kind": "at_hub"}
    kinds = [event["kind"] for event in box.done("PATCH", json={"events": [earlier]})["events"]]
    assert kinds == ["at_hub", "held"]


def test_lost_box_is_lost_until_it_is_heard_of_again(ledger_client: Client) -> None:
    box = Box(ledger_client)
    box.depart()
    assert box.done("PATCH", json={"events": [LOST]})["state"] == "lost"
    assert box.done("PATCH", json={"events": [HELD]})["state"] == "lost"
    found = {"at": "2027-02-25T08:00:00Z", "kind": "at_hub"}
    assert box.done("PATCH", json={"events": [found]})["state"] == "in_transit"


def test_lost_box_may_arrive_after_all(ledger_client: Client) -> None:
    box = Box(ledger_client)
    box.depart(events=[LOST])
    assert box.arrive(arrived_at="2027-03-01T08:00:00Z")["state"] == "arrived"


@pytest.mark.parametrize(
    ("body", "pointer", "message"),
    [
        ({"events": [HELD]}, "/events/0/kind", "needs a departure"),
        ({"departed_at": DEPARTED, "events": [HELD | {"at": "2027-01-10T08:00:00Z"}]}, "/events/0/at",
         "must not be before the departure"),
        ({"departed_at": "2027-01-11T09:00:00"}, "/departed_at", "must be a moment of ISO 8601 with its offset"),
        ({"departed_at": "1800000000"}, "/departed_at", "must be a moment of ISO 8601 with its offset"),
        ({"departed_at": 1800000000}, "/departed_at", "must be a moment of ISO 8601 with its offset"),
        ({"events": [HELD | {"kind": "opened"}]}, "/events/0/kind", "must be departed, at_hub"),
        ({"events": [HELD | {"note": "a\0b"}]}, "/events/0/note", "must be a text of up to 120 characters, none"),
        ({"state": "lost"}, "/state", "is not known here"),
    ],
)  # fmt: skip
def test_bad_news(ledger_client: Client, body: Fields, pointer: str, message: str) -> None:
    box = Box(ledger_client)
    before = box.get()
    response = box.call("PATCH", json=body)
    [(where, said)] = errors(response)
    assert (response.status_code, where) == (422, pointer)
    assert said.startswith(message)
    assert box.get() == before


def test_journey_is_closed_by_the_arrival(ledger_client: Client) -> None:
    box = Box(ledger_client)
    box.depart(events=[HELD])
    box.arrive()
    before = box.get()
    assert box.call("PATCH", json={"events": [HELD | {"kind": "released"}]}).status_code == 409
    assert box.call("PATCH", json={"departed_at": "2027-01-12T09:00:00+07:00"}).status_code == 409
    # What is recorded already changes nothing.
    assert box.call("PATCH", json={"departed_at": DEPARTED, "events": [HELD]}).status_code == 200
    assert box.get() == before
    corrected = box.arrive(departed_at="2027-01-12T09:00:00+07:00")
    assert corrected["departed_at"] == "2027-01-12T02:00:00Z"


# Refusals in order


def test_refusals_come_in_order(ledger_client: Client) -> None:
    """404, 428, 412, 422, 409: each call below has all faults from its own on."""
    box = Box(ledger_client)
    stale = box.etag
    box.depart()
    box.arrive()
    bad: Fields = {"content": b'{"events": 3}'}
    unknown = f"{PATH}/s{'0' * 24}"
    client = ledger_client
    assert client.request("PATCH", unknown, **bad).status_code == 404
    assert client.request("PATCH", box.path, **bad).status_code == 428
    assert client.request("PATCH", box.path, headers={"if-match": stale}, **bad).status_code == 412
    assert box.call("PATCH", **bad).status_code == 422
    assert box.call("PATCH", json={"events": [LOST]}).status_code == 409
    assert client.request("DELETE", unknown).status_code == 404
    assert client.request("DELETE", box.path).status_code == 428
    assert client.request("DELETE", box.path, headers={"if-match": stale}).status_code == 412
    assert box.call("DELETE").status_code == 409


@pytest.mark.parametrize("end", ["/arrival", "/recheck"])
def test_first_put_needs_if_match_too(ledger_client: Client, end: str) -> None:
    box = Box(ledger_client)
    response = ledger_client.request("PUT", box.path + end, json=ARRIVAL)
    assert (response.status_code, response.json()["code"]) == (428, "precondition_required")
    response = ledger_client.request("PUT", box.path + end, json=ARRIVAL, headers={"if-match": f"W/{box.etag}"})
    assert (response.status_code, response.json()["code"]) == (412, "precondition_failed")
    assert box.get()["state"] == "planned"


def test_one_etag_for_the_whole_shipment(ledger_client: Client) -> None:
    box = Box(ledger_client)
    tags = [box.etag]
    box.depart()
    tags.append(box.etag)
    box.arrive()
    tags.append(box.etag)
    box.done("PUT", "/recheck", json=RECHECK)
    tags.append(box.etag)
    assert len(set(tags)) == 4
    assert ledger_client.get(box.path).headers["etag"] == tags[-1]


def test_delete(ledger_client: Client) -> None:
    box = Box(ledger_client)
    response = box.call("DELETE")
    assert (response.status_code, response.content) == (204, b"")
    assert ledger_client.get(box.path).status_code == 404
    gone = Box(ledger_client)
    gone.depart()
    assert gone.call("DELETE").status_code == 409


# Arrival


def test_arrival_is_answered_whole(ledger_client: Client, database: Database) -> None:
    box = Box(ledger_client)
    box.depart()
    answer = box.arrive(notes="one corner dented\nroots wet", photos=["a b.jpg", "roots.jpg"])
    arrival = answer["arrival"]
    assert answer["state"] == "arrived"
    assert (arrival["arrival_date"], arrival["arrived_at"], arrival["opened_at"]) == (
        "2027-01-16", "2027-01-16T10:00:00Z", "2027-01-16T10:00:00Z",
    )  # fmt: skip
    # From 02:00 UTC on the 11th to 10:00 UTC on the 16th: 5 days and 8 hours.
    assert arrival["transit_days"] == pytest.approx(5 + 8 / 24)
    counts = [[line[name] for name in ("quantity", "sent", "healthy", "damaged", "dead", "missing")]
              for line in arrival["lines"]]  # fmt: skip
    assert counts == [[20, 20, 15, 3, 2, 0], [12, 10, 9, 0, 1, 2]]
    assert arrival["missing"] == 2
    assert (arrival["notes"], arrival["photos"]) == ("one corner dented\nroots wet", ["a b.jpg", "roots.jpg"])
    assert revisions(database) == ([3], [3])


def test_extra_lines_are_substitutes(ledger_client: Client) -> None:
    substitute = {"genus": "Hoya", "cultivar": "carnosa", "healthy": 2, "damaged": 0, "dead": 0, "note": "instead"}
    box = Box(ledger_client)
    lines_ = box.arrive(lines=[*COUNTS, substitute])["arrival"]["lines"]
    assert [(line["line"], line["genus"], line["quantity"], line["sent"]) for line in lines_] == [
        (0, "Scindapsus", 20, 20), (1, "Anthurium", 12, 10), (2, "Hoya", None, 2),
    ]  # fmt: skip
    # The correction counts them anew.
    lines_ = box.arrive(lines=[*COUNTS, substitute | {"line": 2, "healthy": 1, "dead": 1}])["arrival"]["lines"]
    assert [(line["line"], line["dead"]) for line in lines_] == [(0, 2), (1, 1), (2, 1)]
    assert len(box.arrive()["arrival"]["lines"]) == 2


def first_line(**fields: Any) -> Fields:
    return {"lines": [COUNTS[0] | fields, COUNTS[1]]}


@pytest.mark.parametrize(
    ("fields", "pointer", "message"),
    [
        (first_line(healthy=16), "/lines/0/dead", "healthy, damaged and dead must add up to the quantity, 20"),
        (first_line(sent=19), "/lines/0/dead", "healthy, damaged and dead must add up to sent"),
        (first_line(healthy=-1), "/lines/0/healthy", "must be a whole number, 0 to 100,000"),
        (first_line(healthy=100_001), "/lines/0/healthy", "must be a whole number, 0 to 100,000"),
        (first_line(line=1), "/lines/1/line", "must differ from the lines before it"),
        (first_line(line=7), "/lines/0/line", "must be the position of a line of the plan, 0 to 1"),
        (first_line(genus="Hoya"), "/lines/0/genus", "must be left out, or be the plant of line 0"),
        ({"lines": COUNTS[:1]}, "/lines", "lacks line 1, Anthurium Nowhere: give it with sent 0"),
        ({"lines": [*COUNTS, {"healthy": 1, "damaged": 0, "dead": 0}]}, "/lines/2/line", "is required"),
        ({"lines": [*COUNTS, {"genus": "scindapsus", "healthy": 1, "damaged": 0, "dead": 0}]}, "/lines/2/genus",
         "is the same plant as line 0"),
        ({"arrived_at": "2027-01-11T01:59:59Z"}, "/arrived_at", "must not be before the departure"),
        ({"arrived_at": "2027-04-11T02:00:01Z"}, "/arrived_at", "must be at most 90 days after the departure"),
        ({"arrived_at": "2027-01-16T10:00:00"}, "/arrived_at", "must be a moment of ISO 8601"),
        ({"opened_at": "2027-01-16T09:59:59Z"}, "/opened_at", "must not be before arrived_at"),
        ({"photos": ["../box.jpg"]}, "/photos/0", "must be the name of a file, without folders"),
        ({"photos": ["C:\\box.jpg"]}, "/photos/0", "must be the name of a file, without folders"),
        ({"photos": ["a", "a"]}, "/photos/1", "must differ from the names before it"),
        ({"notes": "a\0b"}, "/notes", "must be a text of up to 4,000 characters"),
    ],
)  # fmt: skip
def test_bad_arrival_leaves_the_box_as_it_was(
    ledger_client: Client, database: Database, fields: Fields, pointer: str, message: str
) -> None:
    box = Box(ledger_client)
    box.depart()
    before = box.get()
    response = box.call("PUT", "/arrival", json=ARRIVAL | fields)
    assert response.status_code == 422
    found = dict(errors(response))
    assert found[pointer].startswith(message), found
    assert box.get() == before
    assert revisions(database) == ([], [])


def test_arrival_before_the_planned_day_asks_for_the_departure(ledger_client: Client) -> None:
    box = Box(ledger_client)
    response = box.call("PUT", "/arrival", json=ARRIVAL | {"arrived_at": "2027-01-09T10:00:00Z"})
    [(pointer, message)] = errors(response)
    assert (response.status_code, pointer) == (422, "/arrived_at")
    assert "give departed_at" in message
    answer = box.arrive(arrived_at="2027-01-09T10:00:00Z", departed_at="2027-01-05T10:00:00Z")
    assert answer["arrival"]["transit_days"] == pytest.approx(4.0)


def test_nothing_came(ledger_client: Client) -> None:
    none = [{"line": i, "sent": 0, "healthy": 0, "damaged": 0, "dead": 0} for i in (0, 1)]
    arrival = Box(ledger_client).arrive(lines=none)["arrival"]
    assert [line["missing"] for line in arrival["lines"]] == [20, 12]


def test_more_than_ordered_is_not_missing(ledger_client: Client) -> None:
    more = [COUNTS[0] | {"sent": 21, "healthy": 16}, COUNTS[1]]
    assert [line["missing"] for line in Box(ledger_client).arrive(lines=more)["arrival"]["lines"]] == [0, 2]


def test_next_steps_have_dates(ledger_client: Client) -> None:
    """The plan's claim window is 48 h; 14 days on and 3 to 6 weeks are common practice and extension texts."""
    answer = Box(ledger_client).arrive(opened_at="2027-01-16T18:00:00Z")
    found = steps(answer)
    assert list(found) == ["photograph", "claim", "rehydrate", "shade_and_humidity", "isolate", "recheck"]
    assert (found["claim"]["from"], found["claim"]["until"]) == ("2027-01-16T10:00:00Z", "2027-01-18T10:00:00Z")
    assert found["rehydrate"]["from"] == "2027-01-16T18:00:00Z"
    assert found["isolate"]["until"] == "2027-02-27T18:00:00Z"
    assert found["recheck"]["from"] == "2027-01-30T18:00:00Z"
    assert found["rehydrate"]["status"] == "common practice, no source"
    codes = [caution["code"] for caution in answer["cautions"]]
    assert {"late_damage", "residues", "irritant_sap", "isolate"} <= set(codes)


def test_steps_that_are_done_say_so(ledger_client: Client) -> None:
    box = Box(ledger_client)
    box.arrive()
    assert steps(box.get())["recheck"]["state"] != "done"
    box.done("PUT", "/recheck", json=RECHECK)
    claim = {"outcome": "refunded", "amount": 16.5, "settled_on": "2027-01-20"}
    answer = box.done("PATCH", json={"claim": claim})
    assert answer["claim"] == claim
    found = steps(answer)
    assert (found["recheck"]["state"], found["claim"]["state"]) == ("done", "done")


def test_claim_without_a_window_says_to_ask(ledger_client: Client) -> None:
    recourse = {"kind": "refund", "claim_window_hours": None}
    assert "ask the seller" in steps(Box(ledger_client, recourse=recourse).arrive())["claim"]["text"]


def test_arrival_in_the_future_is_taken_with_a_caution(ledger_client: Client) -> None:
    box = Box(ledger_client, ship_date="2190-01-04")
    answer = box.arrive(arrived_at="2190-01-09T10:00:00Z")
    texts = [caution["text"] for caution in answer["cautions"] if caution["code"] == "date_unusual"]
    assert any("2190-01-09" in text for text in texts)


def test_claim_is_settled_after_arrival_only(ledger_client: Client) -> None:
    box = Box(ledger_client)
    assert box.call("PATCH", json={"claim": {"outcome": "refused"}}).status_code == 409
    box.arrive()
    response = box.call("PATCH", json={"claim": {"outcome": "replaced", "settled_on": "2027-01-15"}})
    assert errors(response) == [("/claim/settled_on", "must not be before the arrival")]
    assert box.done("PATCH", json={"claim": {"outcome": "replaced"}})["claim"]["outcome"] == "replaced"


# Corrections


def test_correction_keeps_history_and_tells_the_fit(ledger_client: Client, database: Database) -> None:
    box = Box(ledger_client)
    box.arrive()
    box.arrive(**first_line(healthy=14, dead=3))
    assert revisions(database) == ([2], [3])
    with database.reading() as connection:
        past = past_versions(connection, box.id)
    assert [(version.revision, version.reason) for version in past] == [(1, "arrival"), (2, "arrival")]
    assert past[1].snapshot["lines"][0]["dead"] == 2
    assert past[0].snapshot["lines"][0]["dead"] is None


@pytest.mark.parametrize(
    ("fields", "corrected"),
    [
        ({}, False),
        ({"notes": "looked again"}, False),
        (first_line(note="small"), False),
        ({"opened_at": "2027-01-16T12:00:00Z"}, True),
        ({"departed_at": "2027-01-11T09:30:00+07:00"}, True),
        ({"inside_temp_c": 21.5}, True),
        ({"logger": [{"at": "2027-01-13T00:00:00Z", "inside_c": 21.5}]}, True),
    ],
    ids=lambda value: next(iter(value), "nothing") if isinstance(value, dict) else None,
)
def test_only_what_the_fit_reads_counts_as_corrected(
    ledger_client: Client, database: Database, fields: Fields, corrected: bool
) -> None:
    box = Box(ledger_client)
    box.depart()
    box.arrive()
    box.arrive(**fields)
    assert revisions(database) == ([3], [4 if corrected else 3])


def test_another_trace_of_the_same_mean_is_a_correction(ledger_client: Client, database: Database) -> None:
    def trace(*inside_c: float) -> list[Fields]:
        return [{"at": f"2027-01-13T0{h}:00:00Z", "inside_c": c} for h, c in enumerate(inside_c)]

    box = Box(ledger_client)
    box.arrive(logger=trace(20.0, 20.0, 20.0))
    answer = box.arrive(logger=trace(22.0, 18.0, 22.0))
    assert answer["arrival"]["inside_temp_c"] == 20.0
    assert revisions(database) == ([2], [3])


def test_the_same_arrival_again_changes_nothing(ledger_client: Client) -> None:
    box = Box(ledger_client)
    first = box.arrive(photos=["a.jpg"], logger=[{"at": "2027-01-13T07:00:00+07:00", "inside_c": 21}])
    tag = box.etag
    second = box.arrive(photos=["a.jpg"], logger=[{"at": "2027-01-13T00:00:00Z", "inside_c": 21}])
    assert (second, box.etag) == (first, tag)


# Recheck


def test_recheck_is_answered_with_the_late_loss(ledger_client: Client, database: Database) -> None:
    box = Box(ledger_client)
    box.arrive()
    answer = box.done("PUT", "/recheck", json=RECHECK | {"notes": "one leaf"})
    recheck = answer["recheck"]
    assert (recheck["recheck_date"], recheck["notes"]) == ("2027-01-30", "one leaf")
    # 2 of 18 + 9 - 1 plants looked at again had died.
    assert recheck["late_loss_share"] == pytest.approx(2 / 26)
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
    rechecked = box.done("PUT", "/recheck", json=RECHECK)["recheck"]
    # 18 alive as before, 14 healthy and 4 damaged.
    assert box.arrive(**first_line(healthy=14, damaged=4))["recheck"] == rechecked
    answer = box.arrive(**first_line(healthy=14, dead=3))
    assert answer["recheck"] is None
    assert "recheck_dropped" in [caution["code"] for caution in answer["cautions"]]
    assert "recheck_dropped" not in [caution["code"] for caution in box.get()["cautions"]]


# Shipments from a file


def test_box_from_a_file_is_corrected_and_looked_at_again(ledger_client: Client) -> None:
    data = csv_bytes(row(inside_temp_c="21.5"), row(genus="Hoya", inside_temp_c="21.5", damaged="", dead=""))
    ledger_client.post(f"{PATH}/import", content=data, headers={"content-type": "text/csv"})
    [item] = ledger_client.get(PATH).json()["items"]
    path, tag = f"{PATH}/{item['id']}", item["etag"]
    answer = ledger_client.get(path).json()
    assert (answer["plan"], answer["forecast"]) == (None, None)
    assert answer["arrival"]["transit_days"] == pytest.approx(5 + 7 / 24)  # BKK is 7 h ahead of DUB in winter
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
        "P-1,Invented Ferns,courier,BKK,DUB,foam_box,damp_wrap,72,2027-01-11,2027-01-16,,Scindapsus,,20,15,3,2,"
    )
    response = ledger_client.post(f"{PATH}/import", content=ledger_client.get(f"{PATH}/export").content)
    assert response.json() == {"added": 0, "unchanged": 1, "replaced": 0, "lines": 2}


def test_file_may_replace_a_planned_box(ledger_client: Client) -> None:
    box = Box(ledger_client, reference="A-1")
    data = csv_bytes(row() | RECHECKED)
    assert ledger_client.post(f"{PATH}/import", content=data).status_code == 409
    assert ledger_client.post(f"{PATH}/import?replace=true", content=data).status_code == 200
    answer = box.get()
    assert (answer["state"], answer["arrival"]["lines"][0]["genus"]) == ("arrived", "Anthurium")
    assert answer["recheck"]["recheck_date"] == "2027-01-30"
    assert answer["plan"] is not None


def test_events_of_a_deleted_plan_go_with_it(ledger_client: Client, database: Database) -> None:
    planned(ledger_client)
    box = Box(ledger_client)
    box.call("DELETE")
    with database.reading() as connection:
        assert connection.execute(select(events)).all() == []
        assert len(connection.execute(select(lines)).all()) == 2
