"""Requests: defaults and ranges of the contract, and a pointer and a plain message for everything else."""

import json
from typing import Any

import pytest
from pydantic import BaseModel

from app.problems import InvalidInput, MalformedJson
from app.schemas.compare import CompareRequest
from app.schemas.hold import HoldRequest
from app.schemas.order_size import OrderSizeRequest
from app.schemas.request_body import MAX_FAULTS, RequestBody
from app.schemas.risk import LaneTemperature, RiskRequest

QUERY = {"genus": "Hoya", "transit_days": 6, "temperature": {"inside_c": 24}}
ROUTE = {"name": "courier", "service": "courier", "freight": 150}
LINE = {"genus": "Aglaonema", "quantity": 20, "unit_cost": 8, "sale_value": 30}
COMPARE = {"origin": "SRG", "destination": "GLA", "ship_date": "2027-01-11", "lines": [LINE], "routes": [ROUTE]}
HOLD = {k: v for k, v in COMPARE.items() if k != "ship_date"} | {"earliest": "2027-01-11", "latest": "2027-01-20"}
SIZE = COMPARE | {"target": {"line": 0, "healthy": 20}}
DAY = {"date": "2027-01-12", "min_c": -6, "max_c": 1}

RISK_BODY, COMPARE_BODY = RequestBody(RiskRequest), RequestBody(CompareRequest)
HOLD_BODY, SIZE_BODY = RequestBody(HoldRequest), RequestBody(OrderSizeRequest)
BODIES = (RISK_BODY, COMPARE_BODY, HOLD_BODY, SIZE_BODY)

A_TEXT = "must be a text of 1 to 120 characters, none of them a control character"


def query(**fields: Any) -> dict[str, Any]:
    """Return a risk request of one query with fields changed."""
    return {"queries": [QUERY | fields]}


def errors(body: RequestBody[Any], request: Any) -> dict[str, str]:
    """Return pointer -> message of a refused request."""
    data = request if isinstance(request, bytes) else json.dumps(request).encode()
    with pytest.raises(InvalidInput) as refused:
        body.parse(data)
    return {error.pointer: error.message for error in refused.value.errors}


NUMBER_DAYS = "must be a number, over 0 to 90"
INSIDE = "must be a number, -40 to 60"
QUANTITY = "must be a whole number, 1 to 100,000"
DATE = "must be a date written YYYY-MM-DD, 1900 to 2199"
SHAPES = "an object of one of these shapes: {inside_c}, {daily} or {origin, destination, service}"


@pytest.mark.parametrize(
    ("fields", "pointer", "message"),
    [
        ({"transit_days": 0}, "/transit_days", NUMBER_DAYS),
        ({"transit_days": -1}, "/transit_days", NUMBER_DAYS),
        ({"transit_days": 90.1}, "/transit_days", NUMBER_DAYS),
        ({"transit_days": float("nan")}, "/transit_days", NUMBER_DAYS),
        ({"transit_days": float("inf")}, "/transit_days", NUMBER_DAYS),
        ({"transit_days": "6"}, "/transit_days", NUMBER_DAYS),
        ({"transit_days": True}, "/transit_days", NUMBER_DAYS),
        ({"transit_days": None}, "/transit_days", NUMBER_DAYS),
        ({"heat_packs": 2.0}, "/heat_packs", "must be a whole number, 0 to 20"),
        ({"heat_pack_hours": 241}, "/heat_pack_hours", "must be a number, 0 to 240"),
        ({"cold_packs": 51}, "/cold_packs", "must be a whole number, 0 to 50"),
        ({"genus": ""}, "/genus", A_TEXT),
        ({"genus": "   "}, "/genus", A_TEXT),
        ({"genus": "x" * 121}, "/genus", A_TEXT),
        ({"cultivar": 3}, "/cultivar", f"{A_TEXT}, or null"),
        ({"seller_kind": "shop"}, "/seller_kind", "must be grower, exporter or reseller, or null"),
        ({"container": None}, "/container", "must be foam_box, lined_carton or carton"),
        ({"ship_date": "2027-02-30"}, "/ship_date", f"{DATE}, or null"),
        ({"ship_date": "2027-01-11T00:00:00"}, "/ship_date", f"{DATE}, or null"),
        ({"ship_date": "1799971200"}, "/ship_date", f"{DATE}, or null"),
        ({"ship_date": 1799971200}, "/ship_date", f"{DATE}, or null"),
        ({"ship_date": "9999-12-31"}, "/ship_date", f"{DATE}, or null"),
        ({"transit_day": 6}, "/transit_day", "is not known here: did you mean transit_days?"),
        ({"a/b~c": 6}, "/a~1b~0c", "is not known here: use genus, cultivar, seller, seller_kind, service, container, "
         "roots, heat_pack_hours, heat_packs, cold_packs, transit_days, ship_date or temperature"),
        ({"temperature": {"inside_c": 61}}, "/temperature/inside_c", INSIDE),
        ({"temperature": {"inside_c": 20, "daily": []}}, "/temperature/daily", "is not known here: use inside_c"),
        ({"temperature": {}}, "/temperature", f"must be {SHAPES}"),
        ({"temperature": 20}, "/temperature", f"must be {SHAPES}"),
        ({"temperature": {"daily": []}}, "/temperature/daily", "must be a list of 1 to 366 entries"),
        ({"temperature": {"daily": [{"min_c": 3, "max_c": 3}, {"min_c": 3, "max_c": 2}]}},
         "/temperature/daily/1/min_c", "must be at most max_c"),
        ({"temperature": {"daily": [{"min_c": -41, "max_c": 2}]}}, "/temperature/daily/0/min_c", INSIDE),
        ({"temperature": {"origin": "SRG", "destination": "Glasgow", "service": "courier"}},
         "/temperature/destination", "must be three capital letters, the code of an airport or a city, such as BKK"),
        ({"temperature": {"origin": "SRG", "destination": "GLA"}},
         "/temperature/service", "is required: courier, post or air_cargo"),
        ({"temperature": {"origin": "SRG", "destination": "GLA", "service": "courier"}},
         "/ship_date", "is required for a temperature by origin and destination: YYYY-MM-DD"),
    ],
)  # fmt: skip
def test_refused_query(fields: dict[str, Any], pointer: str, message: str) -> None:
    assert errors(RISK_BODY, query(**fields)) == {f"/queries/0{pointer}": message}


@pytest.mark.parametrize(
    ("body", "request_", "pointer", "message"),
    [
        (RISK_BODY, {"queries": []}, "/queries", "must be a list of 1 to 10,000 entries"),
        (RISK_BODY, {"queries": [QUERY] * 10_001}, "/queries", "must be a list of 1 to 10,000 entries"),
        (RISK_BODY, {}, "/queries", "is required: a list of 1 to 10,000 entries"),
        (RISK_BODY, [], "", "must be an object with queries"),
        (COMPARE_BODY, COMPARE | {"lines": [LINE | {"quantity": 0}]}, "/lines/0/quantity", QUANTITY),
        (COMPARE_BODY, COMPARE | {"lines": [LINE | {"quantity": 100_001}]}, "/lines/0/quantity", QUANTITY),
        (COMPARE_BODY, COMPARE | {"lines": [LINE] * 201}, "/lines", "must be a list of 1 to 200 entries"),
        (COMPARE_BODY, COMPARE | {"routes": []}, "/routes", "must be a list of 1 to 10 entries"),
        (COMPARE_BODY, COMPARE | {"routes": [ROUTE, ROUTE]}, "/routes/1/name",
         "must differ from the names of the routes before it"),
        (COMPARE_BODY, COMPARE | {"routes": [ROUTE | {"boxes": 101}]}, "/routes/0/boxes",
         "must be a whole number, 1 to 100, or null"),
        (COMPARE_BODY, COMPARE | {"routes": [ROUTE | {"freight": 1e9 + 1}]}, "/routes/0/freight",
         "must be a number, 0 to 1,000,000,000"),
        (COMPARE_BODY, COMPARE | {"routes": [ROUTE | {"transit_days": {"p10": 3, "p50": 11, "p90": 10}}]},
         "/routes/0/transit_days/p90", "must be above p50, or all three equal"),
        (COMPARE_BODY, COMPARE | {"routes": [ROUTE | {"transit_days": {"p10": 3, "p50": 2, "p90": 10}}]},
         "/routes/0/transit_days/p10", "must be below p50, or all three equal"),
        (COMPARE_BODY, COMPARE | {"routes": [ROUTE | {"transit_days": {"p10": 3, "p50": 3, "p90": 10}}]},
         "/routes/0/transit_days/p10", "must be below p50, or all three equal"),
        (COMPARE_BODY, COMPARE | {"forecast": {"XXX": [DAY]}}, "/forecast/XXX",
         "must be a place on the route: the code of origin or destination"),
        (COMPARE_BODY, COMPARE | {"forecast": {"GLA": [DAY, DAY]}}, "/forecast/GLA/1/date",
         "must differ from the dates before it"),
        (COMPARE_BODY, COMPARE | {"forecast": {"GLA": [DAY | {"min_c": 2}]}}, "/forecast/GLA/0/min_c",
         "must be at most max_c"),
        (COMPARE_BODY, COMPARE | {"draws": 255}, "/draws", "must be a whole number, 256 to 65,536"),
        (COMPARE_BODY, COMPARE | {"seed": 2**53}, "/seed", "must be a whole number, 0 to 9,007,199,254,740,991"),
        (COMPARE_BODY, COMPARE | {"costs": {"duty_rate": 2.1}}, "/costs/duty_rate",
         "must be a number, 0 to 2, or null"),
        (COMPARE_BODY, COMPARE | {"risk": {"confidence": 0.49}}, "/risk/confidence", "must be a number, 0.5 to 0.999"),
        (COMPARE_BODY, COMPARE | {"recourse": {"chance": 1.01}}, "/recourse/chance", "must be a number, 0 to 1"),
        (COMPARE_BODY, COMPARE | {"paperwork": {"invoice": 1}}, "/paperwork/invoice", "must be true or false, or null"),
        (COMPARE_BODY, COMPARE | {"currency": "€"}, "/currency",
         "must be three capital letters, a currency of ISO 4217 such as EUR"),
        (HOLD_BODY, HOLD | {"latest": "2027-01-10"}, "/latest", "must be on or after earliest"),
        (HOLD_BODY, HOLD | {"latest": "2027-04-14"}, "/latest", "must be at most 92 days after earliest"),
        (HOLD_BODY, HOLD | {"needed_by": "2027-01-10"}, "/needed_by", "must be on or after earliest"),
        (HOLD_BODY, HOLD | {"skip_weekdays": ["sunday"]}, "/skip_weekdays/0",
         "must be mon, tue, wed, thu, fri, sat or sun"),
        (HOLD_BODY, HOLD | {"certificate": {"issued": "2027-01-01"}}, "/certificate/valid_days",
         "is required: a whole number, 0 to 3,650"),
        (SIZE_BODY, SIZE | {"target": {"line": 1, "healthy": 20}}, "/target/line", "must be 0"),
        (SIZE_BODY, SIZE | {"lines": [LINE] * 3, "target": {"line": 3, "healthy": 20}}, "/target/line",
         "must be the position of a line: 0 to 2"),
        (SIZE_BODY, COMPARE, "/target", "is required: an object with healthy"),
    ],
)  # fmt: skip
def test_refused_batch(body: RequestBody[Any], request_: Any, pointer: str, message: str) -> None:
    assert errors(body, request_) == {pointer: message}


def test_every_fault_is_told_at_once() -> None:
    found = errors(COMPARE_BODY, COMPARE | {"origin": "bkk", "draws": 1, "routes": [ROUTE | {"service": "ship"}]})
    assert found.keys() == {"/origin", "/draws", "/routes/0/service"}


@pytest.mark.parametrize("data", [b"", b"{", b'{"queries": [}', b"\xff", b'"\\ud800"', b"[" * 1000, b"\xef\xbb\xbf{}"])
@pytest.mark.parametrize("body", BODIES)
def test_malformed_json(body: RequestBody[BaseModel], data: bytes) -> None:
    with pytest.raises(MalformedJson, match="must be valid JSON: ") as refused:
        body.parse(data)
    assert [error.pointer for error in refused.value.errors] == [""]


def test_a_flood_of_faults_stays_a_short_answer() -> None:
    few = {f"key{i}": 0 for i in range(300)}
    with pytest.raises(InvalidInput) as refused:
        RISK_BODY.parse(json.dumps(few).encode())
    assert len(refused.value.errors) == 100
    assert refused.value.n_faults == 301
    many = {"queries": [few] * (MAX_FAULTS // 300 + 1)}
    assert errors(RISK_BODY, many) == {"": "has more than 50,000 faults: try a few entries first"}


def test_a_long_key_is_not_sent_back() -> None:
    assert errors(RISK_BODY, {"queries": [QUERY], "k" * 9000: 0}) == {
        "": "has a key that is not known here: use queries"
    }


def test_query_defaults_are_those_of_the_contract() -> None:
    # As shown in the contract for POST /v1/risk.
    parsed = RISK_BODY.parse(json.dumps(query()).encode()).queries[0].model_dump()
    assert parsed == {
        "genus": "Hoya", "cultivar": None, "seller": None, "seller_kind": None, "service": None,
        "container": "foam_box", "roots": "damp_wrap", "heat_pack_hours": 0, "heat_packs": 0, "cold_packs": 0,
        "transit_days": 6, "ship_date": None, "temperature": {"inside_c": 24},
    }  # fmt: skip


def test_batch_defaults_are_those_of_the_contract() -> None:
    parsed = COMPARE_BODY.parse(json.dumps(COMPARE).encode())
    assert (parsed.currency, parsed.draws, parsed.seed, parsed.damaged_value_share) == ("EUR", 4096, 1, 0.4)
    assert (parsed.risk.max_loss_share, parsed.risk.confidence) == (0.25, 0.8)
    assert (parsed.routes[0].travel, parsed.routes[0].boxes, parsed.packing.capacity) == ("together", None, None)
    assert set(parsed.costs.model_dump().values()) == set(parsed.paperwork.model_dump().values()) == {None}


@pytest.mark.parametrize(("given", "packs"), [({}, 0), ({"heat_pack_hours": 72}, 1), ({"heat_packs": 3}, 3)])
def test_one_heat_pack_where_hours_are_given(given: dict[str, Any], packs: int) -> None:
    assert RISK_BODY.parse(json.dumps(query(**given)).encode()).queries[0].heat_packs == packs
    assert COMPARE_BODY.parse(json.dumps(COMPARE | {"packing": given}).encode()).packing.heat_packs == packs


def test_edges_of_the_ranges_are_taken() -> None:
    edge = query(transit_days=90, heat_pack_hours=240, heat_packs=20, cold_packs=50, temperature={"inside_c": -40})
    RISK_BODY.parse(json.dumps(edge).encode())
    RISK_BODY.parse(json.dumps(query(transit_days=1e-3, temperature={"inside_c": 60})).encode())
    route = ROUTE | {"boxes": 100, "transit_days": {"p10": 4, "p50": 4, "p90": 4}, "freight": 0}
    COMPARE_BODY.parse(json.dumps(COMPARE | {"routes": [route], "draws": 65_536, "seed": 2**53 - 1}).encode())
    HOLD_BODY.parse(json.dumps(HOLD | {"latest": "2027-04-13"}).encode())


def test_temperature_shape_is_decided_by_its_keys() -> None:
    lane = {"origin": "SRG", "destination": "GLA", "service": "courier"}
    parsed = RISK_BODY.parse(json.dumps(query(ship_date="2027-01-11", temperature=lane)).encode())
    assert isinstance(parsed.queries[0].temperature, LaneTemperature)
