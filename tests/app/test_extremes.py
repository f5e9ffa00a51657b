"""Extreme but valid requests answer with finite numbers, in range, without a warning of NumPy (warnings are errors)."""

import json
from datetime import date, timedelta
from math import isfinite
from typing import Any

import pytest

from tests.app.batches import BATCH, CARGO, COURIER, MONDAY, Fields, fixed, line
from tests.app.client import Client

SHORTEST = 5e-324  # the smallest number above 0
APART: Fields = {"travel": "apart", "boxes": 100}
YEAR = [str(date(2027, 1, 1) + timedelta(days=i)) for i in range(366)]
PACKS: Fields = {"container": "carton", "heat_pack_hours": 0.1, "heat_packs": 20, "cold_packs": 50}


def numbers(value: Any) -> list[float]:
    """Return every number in an answer."""
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list):
        return [number for item in value for number in numbers(item)]
    return [value] if isinstance(value, int | float) else []


def ask(client: Client, path: str, request: Fields) -> Fields:
    """Return the answer to a request; NaN and infinities are not JSON, and a warning would have been a 500."""

    def refuse(constant: str) -> None:
        raise AssertionError(f"{constant} in the answer")

    response = client.post(f"/v1/{path}", json=request)
    assert response.status_code == 200, response.text
    answer: Fields = json.loads(response.content, parse_constant=refuse)
    assert all(map(isfinite, numbers(answer)))
    return answer


def batch(**fields: Any) -> Fields:
    """Return the invented batch with few draws and fields changed."""
    return BATCH | {"draws": 256} | fields


def weather(low: float, high: float, first: date, days: int) -> list[Fields]:
    """Return a forecast of equal days."""
    return [{"date": str(first + timedelta(days=i)), "min_c": low, "max_c": high} for i in range(days)]


BATCHES: dict[str, Fields] = {
    "100,000 plants in 100 boxes apart": {
        "lines": [line("Aglaonema", 100_000)],
        "packing": {"capacity": 1000},
        "routes": [COURIER | APART, CARGO | APART],
    },
    "200 lines": {"lines": [line(g, 1) for g in ("Hoya", "Qqqqqq", "Agave", "Fittonia")] * 50, "packing": {}},
    "90 days": {"routes": [COURIER | {"transit_days": fixed(90)}, CARGO | {"transit_days": fixed(90)}]},
    "next to no days": {"routes": [COURIER | {"transit_days": fixed(SHORTEST)}]},
    "a second to 90 days": {
        "routes": [
            COURIER | {"transit_days": {"p10": SHORTEST, "p50": 1e-5, "p90": 90}},
            CARGO | {"transit_days": {"p10": 1e-6, "p50": 89.99, "p90": 90}},
            COURIER | {"name": "denormal", "transit_days": {"p10": SHORTEST, "p50": 1e-323, "p90": 1.5e-323}},
        ]
    },
    "a narrow time": {"routes": [CARGO | {"transit_days": {"p10": 1, "p50": 1.0000001, "p90": 1.0000002}}]},
    "packs": {"packing": PACKS},
    "packs that last": {"packing": PACKS | {"heat_pack_hours": 240, "cold_packs": 0}},
    "frost": {"forecast": {place: weather(-40, -40, date(2027, 1, 11), 30) for place in ("SRG", "GLA")}},
    "frost and heat in one day for a year": {"forecast": {"GLA": weather(-40, 60, date(2027, 1, 9), 366)}},
    "heat": {"forecast": {place: weather(60, 60, date(2027, 1, 11), 30) for place in ("SRG", "GLA")}},
    "first day of the calendar": {"ship_date": "1900-01-01"},
    "last day of the calendar": {"ship_date": "2199-12-31"},
    "closed all year": {"closed_dates": YEAR},
    "no minor unit": {"currency": "JPY", "lines": [line("Hoya", 7, unit_cost=0.4)]},
    "three digits": {"currency": "KWD"},
    "all for nothing": {
        "lines": [line("Hoya", 9, unit_cost=0, sale_value=0)],
        "routes": [COURIER | {"freight": 0, "handling": 0}, CARGO | {"freight": 0, "collection": 0}],
        "costs": {"phyto": 0, "permit": 0},
    },
    "dearest": {
        "lines": [line("Hoya", 100_000, unit_cost=1e9, sale_value=1e9)],
        "packing": {"capacity": 1000},
        "costs": {"phyto": 1e9, "duty_rate": 2, "tax_rate": 2},
    },
    "smallest and surest": {"lines": [line("Hoya", 1)], "risk": {"max_loss_share": 0, "confidence": 0.999}},
}  # fmt: skip


@pytest.mark.parametrize("name", BATCHES)
def test_compare(client: Client, name: str) -> None:
    request = batch(**{"ship_date": MONDAY} | BATCHES[name])
    sent = sum(own["quantity"] for own in request["lines"])
    for route in ask(client, "compare", request)["routes"]:
        plants, money = route["plants"], route["money"]
        counts = [plants[state] for state in ("healthy", "damaged", "dead")]
        assert sum(count["mean"] for count in counts) == pytest.approx(sent)
        assert all(0 <= count["p05"] <= count["p50"] <= count["p95"] <= sent for count in counts)
        assert sum(item["amount"] for item in money["items"]) == pytest.approx(money["landed_cost"])


@pytest.mark.parametrize("name", BATCHES)
def test_order_size(client: Client, name: str) -> None:
    target = {"line": 0, "healthy": 5, "confidence": 0.999 if name == "smallest and surest" else 0.8}
    answer = ask(client, "order-size", batch(**{"ship_date": MONDAY} | BATCHES[name], target=target))
    for order in answer["routes"]:
        if order["quantity"] is not None:
            assert order["quantity"] >= 5
            assert target["confidence"] <= order["chance"] <= 1


@pytest.mark.parametrize("name", BATCHES)
def test_wish_list(client: Client, name: str) -> None:
    request = batch(**{"ship_date": MONDAY} | BATCHES[name])
    request["lines"] = [own | {"wanted_healthy": 5, "confidence": 0.7} for own in request["lines"]]
    for route in ask(client, "wish-list", request)["routes"]:
        assert sum(own["landed_cost"] for own in route["lines"]) == pytest.approx(route["landed_cost"])
        assert sum(own["margin_mean"] for own in route["lines"]) == pytest.approx(route["margin"]["mean"])
        for own in route["lines"]:
            assert own["loses_money"] == (own["margin_per_plant"] < 0) == (own["reason"] is not None)
            assert 0 <= own["healthy_two_weeks"]["mean"] <= own["healthy"]["mean"] <= 1
            assert own["wanted"]["chance"] is None or own["wanted"]["chance"] >= 0.7


# Of a hundred boxes that travel apart the comparison is asked; here they would take seconds.
@pytest.mark.parametrize("name", [name for name in BATCHES if "100 boxes apart" not in name])
def test_worth_knowing(client: Client, name: str) -> None:
    answer = ask(client, "worth-knowing", batch(**{"ship_date": MONDAY} | BATCHES[name]))
    for one in (*answer["known"], *answer["learned"]):
        assert 0 <= one["worth"] <= answer["everything"]["worth"]
        assert one["clear"] == (one["worth"] > 0)
        assert 0 <= one.get("spread_share", 0) < 1.1


@pytest.mark.parametrize("name", BATCHES)
def test_hold(client: Client, name: str) -> None:
    fields = dict(BATCHES[name])
    earliest = date.fromisoformat(fields.pop("ship_date", MONDAY))
    span = {"earliest": str(earliest), "latest": str(min(earliest + timedelta(days=2), date(2199, 12, 31)))}
    for entry in ask(client, "hold", batch(**span, **fields))["dates"]:
        assert 0 <= entry["chance_loss_within_limit"] <= 1


def test_hold_over_the_longest_span_with_everything_lapsed(client: Client) -> None:
    lapsed = {
        "certificate": {"issued": "1900-01-01", "valid_days": 0},
        "treatment": {"done": "2199-12-31", "valid_days": 3650},
    }
    span = {"earliest": "2027-01-01", "latest": "2027-04-03", "needed_by": "2027-01-01"}
    answer = ask(client, "hold", batch(**span, **lapsed, cost_per_day=1e9, routes=[COURIER]))
    assert answer["recommended"] is None
    assert len(answer["dates"]) == 93
    assert all({"certificate_lapsed", "treatment_lapsed"} <= set(entry["blocked_by"]) for entry in answer["dates"])


def test_risk(client: Client) -> None:
    lane = {"origin": "CUZ", "destination": "ANC", "service": "post"}
    temperatures: list[Fields] = [
        *({"inside_c": c} for c in (-40, 0, 60)),
        *({"daily": [{"min_c": low, "max_c": high}] * 366} for low, high in ((-40, 60), (-40, -40), (60, 60))),
        lane,
    ]
    queries = [
        {"genus": genus, "transit_days": days, "temperature": temperature, "ship_date": day} | packing
        for genus in ("Anthurium", "☃")
        for days in (SHORTEST, 1e-6, 0.5, 90)
        for temperature in temperatures
        for day, packing in (("1900-01-01", {}), ("2199-12-31", PACKS))
    ]
    answer = ask(client, "risk", {"queries": queries})
    for asked, result in zip(queries, answer["results"], strict=True):
        chances = [result[state] for state in ("healthy", "damaged", "dead")]
        assert sum(chance["mean"] for chance in chances) == pytest.approx(1.0)
        assert all(0 <= chance["low"] <= chance["high"] <= 1 for chance in chances)
        assert result["healthy_two_weeks"]["mean"] <= result["healthy"]["mean"]
        if asked["transit_days"] == 90 and asked["temperature"] != lane:
            # Three months in a box: past every rule, at any of these temperatures.
            assert result["healthy"]["mean"] < 0.1
