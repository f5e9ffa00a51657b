"""A claim from an arrived box: the tally, the money to the cent, the evidence, the draft."""

from typing import Any

import pytest

from app.claims.draft import NOTHING
from app.claims.tally import in_words, price_in_words, rounded
from tests.app.batches import COURIER, Fields, line
from tests.app.client import Client
from tests.app.ledger_files import csv_bytes, row
from tests.app.shipment_calls import ARRIVED, PLAN, Box


def claim(client: Client, path: str) -> Fields:
    """Return the claim of a shipment."""
    response = client.get(f"{path}/claim")
    assert response.status_code == 200, response.text
    answer: Fields = response.json()
    return answer


def claimed(client: Client, arrival: Fields | None = None, **plan: Any) -> Fields:
    """Plan the invented shipment, unpack it, and return its claim."""
    box = Box(client, **plan)
    box.depart()
    box.arrive(**(arrival or {}))
    return claim(client, box.path)


def imported(client: Client, *rows: dict[str, str]) -> Fields:
    """Import one shipment, and return its claim."""
    response = client.post("/v1/shipments/import", content=csv_bytes(*rows), headers={"content-type": "text/csv"})
    assert response.status_code == 200, response.text
    [item] = client.get("/v1/shipments").json()["items"]
    return claim(client, f"/v1/shipments/{item['id']}")


def test_tally_counts_dead_and_missing_by_line(ledger_client: Client) -> None:
    answer = claimed(ledger_client, reference="spring")
    # The first line: 20 ordered and sent, 2 dead of 8.00. The second: 12 ordered, 10 sent, 1 dead of 12.00.
    lines = [(said["line"], said["dead"], said["missing"], said["value"]) for said in answer["lines"]]
    assert lines == [(0, 2, 0, 16.0), (1, 1, 2, 36.0)]
    assert (answer["dead"], answer["missing"], answer["damaged"], answer["total"]) == (3, 2, 3, 52.0)
    assert (answer["currency"], answer["language"], answer["reference"]) == ("GBP", "en", "spring")
    assert [point["code"] for point in answer["claimable"]] == ["dead", "missing"]
    rarely = {point["code"]: point["text"] for point in answer["rarely_paid"]}
    assert rarely["damaged"].startswith("3 damaged: alive")
    assert "sound roots" in rarely["yellow_leaves"]
    assert {"bruised_leaves", "late_death"} <= rarely.keys()


def test_worth_under_each_arrangement_is_counted_by_hand(ledger_client: Client) -> None:
    box = Box(ledger_client)
    box.depart()
    box.arrive()
    answer = claim(ledger_client, box.path)
    worth = {option["kind"]: option["worth"] for option in answer["recourse"]["options"]}
    assert (answer["recourse"]["agreed"], answer["recourse"]["chance"]) == ("refund", 0.5)
    assert worth["refund"] == 26.0  # half of 52.00
    assert worth["none"] == 0.0
    # Freight of 135 for 55 plants a box is 2.45 a plant, and the forecast of the plan says how many arrive healthy.
    forecast = box.get()["forecast"]
    first, second = (said["healthy"]["mean"] / n for said, n in zip(forecast["lines"], (20, 12), strict=True))
    by_hand = 0.5 * (2 * (8 - 135 / 55) * first + 3 * (12 - 135 / 55) * second)
    assert worth["replacement"] == pytest.approx(by_hand, abs=0.005)
    assert answer["model_version"] == forecast["model_version"]


def test_replacement_whose_freight_costs_more_than_the_plant_is_worth_nothing(ledger_client: Client) -> None:
    dear = [COURIER | {"freight": 55 * 12}]
    answer = claimed(ledger_client, routes=dear, recourse={"kind": "replacement", "chance": 1})
    worth = {option["kind"]: option["worth"] for option in answer["recourse"]["options"]}
    assert worth == {"refund": 52.0, "replacement": 0.0, "none": 0.0}


@pytest.mark.parametrize(
    ("currency", "unit_cost", "dead", "value"),
    [
        ("EUR", "8.335", 3, 25.0),  # 25.005 is half-way: to the even cent, 25.00
        ("EUR", "8.345", 3, 25.04),  # 25.035 is half-way: to the even cent, 25.04
        ("EUR", "0.1", 3, 0.3),  # and not 0.30000000000000004
        ("JPY", "33.5", 3, 100.0),  # 100.5 is half-way: yen have no minor unit
        ("KWD", "1.2345", 1, 1.234),  # thousandths (ISO 4217)
    ],
)
def test_values_are_rounded_half_even_to_the_minor_unit(
    ledger_client: Client, currency: str, unit_cost: str, dead: int, value: float
) -> None:
    cells = row(unit_cost=unit_cost, currency=currency, dead=str(dead), damaged="0", healthy=str(20 - dead))
    answer = imported(ledger_client, cells)
    assert answer["lines"][0]["value"] == answer["total"] == value


def test_total_is_the_exact_sum_of_the_lines(ledger_client: Client) -> None:
    # Three lines of 0.335: each 0.34 (half-even of 33.5 cents), so 1.02, while 3 x 0.335 would round to 1.00.
    lines = [
        row(genus=genus, unit_cost="0.335", currency="EUR", dead="1", healthy="16") for genus in ("Hoya", "Begonia")
    ]
    lines.append(row(unit_cost="0.335", currency="EUR", dead="1", healthy="16"))
    answer = imported(ledger_client, *lines)
    assert [said["value"] for said in answer["lines"]] == [0.34, 0.34, 0.34]
    assert answer["total"] == 1.02


def test_money_in_words() -> None:
    assert in_words(1234.5, "EUR") == "1234.50 EUR"
    assert in_words(1234.5, "JPY") == "1234 JPY"
    assert in_words(3, None) == "3.00"
    assert (price_in_words(8.125, "EUR"), price_in_words(8, "EUR"), price_in_words(800, "JPY")) == (
        "8.125",
        "8.00",
        "800",
    )
    assert str(rounded(2.675, "EUR")) == "2.68"  # as written, not as the binary number 2.67499...


def test_unknown_prices_and_counts_are_left_out_and_said(ledger_client: Client) -> None:
    answer = imported(
        ledger_client,
        row(genus="Hoya", healthy="15", damaged="", dead="", unit_cost="5", currency="EUR"),
        row(genus="Aglaonema", currency="EUR"),
        row(genus="Begonia", healthy="16", damaged="3", dead="1", unit_cost="4", currency="EUR"),
    )
    assert [said["value"] for said in answer["lines"]] == [None, None, 4.0]
    assert answer["total"] == 4.0
    cautions = {said["code"]: said["text"] for said in answer["cautions"]}
    assert "Aglaonema" in cautions["claim_unpriced"]
    assert "Hoya" in cautions["claim_uncounted"]
    assert "Please tell me what you can do" in answer["draft"]


def test_box_from_a_file_has_a_claim_without_a_plan(ledger_client: Client) -> None:
    answer = imported(ledger_client, row(unit_cost="10", currency="EUR"))
    worth = {option["kind"]: option["worth"] for option in answer["recourse"]["options"]}
    # 2 of 20 died; the usual chance is 0.7; a replacement travels without recorded freight, 15 of 20 arrive healthy.
    assert worth == {"refund": 14.0, "replacement": 10.5, "none": 0.0}
    assert (answer["recourse"]["agreed"], answer["model_version"], answer["opened_at"]) == (None, None, None)
    assert [clock["code"] for clock in answer["clocks"]] == ["seller_window", "carrier_damage", "carrier_delay"]


def test_recourse_on_the_seller_s_record_counts_where_the_plan_is_silent(ledger_client: Client) -> None:
    recorded = {"recourse": "replacement"}
    headers = {"If-None-Match": "*"}
    ledger_client.request("PUT", "/v1/sellers/Invented Ferns", json=recorded, headers=headers).raise_for_status()
    assert claimed(ledger_client, recourse={})["recourse"]["agreed"] == "replacement"
    assert claimed(ledger_client)["recourse"]["agreed"] == "refund"
    assert claimed(ledger_client, recourse={}, seller="Nowhere Nursery")["recourse"]["agreed"] is None


def test_evidence_lists_files_by_name_and_the_trace(ledger_client: Client) -> None:
    trace = [{"at": f"2027-01-12T0{hour}:00:00Z", "inside_c": 18 + hour} for hour in range(4)]
    answer = claimed(ledger_client, {"photos": ["roots 1.jpg", "opening.MP4"], "logger": trace})
    evidence = {item["code"]: item for item in answer["evidence"]}
    assert list(evidence) == ["photos", "unboxing_video", "box_label", "logger", "papers"]
    assert (evidence["photos"]["files"], evidence["unboxing_video"]["files"]) == (["roots 1.jpg"], ["opening.MP4"])
    assert "4 readings, 12 January 2027 00:00 to 12 January 2027 03:00, 18 to 21 °C" in evidence["logger"]["text"]
    without = {item["code"]: item for item in claimed(ledger_client)["evidence"]}
    assert without["photos"]["text"].startswith("No photographs are listed. Take them now")
    assert "logger" not in without


DRAFT = """Subject: Claim for order spring

Hello Invented Ferns,

This is about order spring.
You sent it on 11 January 2027.
It came to me on 16 January 2027.
I opened the box on 16 January 2027 at 14:30 (my local time).

These plants were dead when I opened the box. The roots or the stem are rotten.
- Aglaonema: 2 dead of 20. (all from one bag)
- Hoya Nowhere: 1 dead of 10.

These plants were not in the box.
- Hoya Nowhere: 2 missing of 12.

These plants came. I did not order them.
- Hoya: 4.

4 more plants are damaged but alive. I do not ask for money for that.

The price of these plants: 2 x 8.00 + 3 x 12.00 = 52.00 GBP.
Please refund 52.00 GBP.

I send these files with this message:
- roots 1.jpg

Please answer soon. Please tell me if you need more from me.

Thank you."""


def test_draft_says_what_counts_in_short_sentences(ledger_client: Client) -> None:
    counts = [
        {"line": 0, "healthy": 15, "damaged": 3, "dead": 2, "note": "all from one bag"},
        {"line": 1, "sent": 10, "healthy": 9, "damaged": 0, "dead": 1},
        {"genus": "Hoya", "healthy": 3, "damaged": 1, "dead": 0},
    ]
    arrival = {"lines": counts, "photos": ["roots 1.jpg"], "opened_at": "2027-01-16T14:30:00+00:00"}
    assert claimed(ledger_client, arrival, reference="spring")["draft"] == DRAFT


def test_draft_asks_for_what_was_agreed(ledger_client: Client) -> None:
    replacement = claimed(ledger_client, recourse={"kind": "replacement"})["draft"]
    assert "Please send new plants with my next order." in replacement
    assert "Please refund" not in replacement
    open_ended = claimed(ledger_client, recourse={})["draft"]
    assert "What can you do for me?" in open_ended
    assert max(len(sentence.split()) for sentence in open_ended.replace("\n", " ").split(". ")) < 30


def test_nothing_lost_is_nothing_to_claim(ledger_client: Client) -> None:
    whole = [{"line": i, "healthy": n, "damaged": 0, "dead": 0} for i, n in enumerate((20, 12))]
    answer = claimed(ledger_client, {"lines": whole})
    assert (answer["draft"], answer["total"], answer["claimable"]) == (NOTHING, 0.0, [])


def test_claim_waits_for_the_arrival(ledger_client: Client) -> None:
    box = Box(ledger_client)
    for _ in range(2):
        refused = ledger_client.get(f"{box.path}/claim")
        assert (refused.status_code, refused.json()["code"]) == (409, "conflict")
        box.depart()
    box.done("PATCH", json={"events": [{"at": ARRIVED, "kind": "lost"}]})
    assert "recorded as lost" in ledger_client.get(f"{box.path}/claim").json()["detail"]


@pytest.mark.parametrize("name", ["s" + "0" * 24, "nothing", "%00", "s%27--"])
def test_unknown_shipment_is_a_404(ledger_client: Client, name: str) -> None:
    Box(ledger_client)
    assert ledger_client.get(f"/v1/shipments/{name}/claim").status_code == 404


def test_settled_claim_is_shown(ledger_client: Client) -> None:
    box = Box(ledger_client)
    box.depart()
    box.arrive()
    assert claim(ledger_client, box.path)["settled"] is None
    box.done("PATCH", json={"claim": {"outcome": "refunded", "amount": 29.5, "settled_on": "2027-01-25"}})
    settled = {"outcome": "refunded", "amount": 29.5, "settled_on": "2027-01-25"}
    assert claim(ledger_client, box.path)["settled"] == settled


def test_cautions_leave_law_pests_and_residues_to_those_who_decide(ledger_client: Client) -> None:
    cautions = {said["code"]: said for said in claimed(ledger_client)["cautions"]}
    assert {"claim_practice", "carrier_liability", "dead_plants", "late_damage", "residues", "irritant_sap"} <= set(
        cautions
    )
    assert "not legal advice" in cautions["claim_practice"]["text"]
    assert cautions["dead_plants"]["decided_by"] == "plant-health authority"
    by_post = claimed(ledger_client, routes=[COURIER | {"service": "post"}], recourse={"kind": "none"})
    codes = {said["code"] for said in by_post["cautions"]}
    assert "carrier_liability" not in codes
    assert "no_recourse" in codes


def test_plan_of_the_tests_is_as_the_figures_here_take_it() -> None:
    assert PLAN["lines"] == [line("Aglaonema", 20), line("Hoya", 12, cultivar="Nowhere", unit_cost=12)]
    assert (PLAN["packing"]["capacity"], COURIER["freight"]) == (55, 135)
