"""Invented requests, and the model loaded once: what the tests of the services share."""

import json
from datetime import date, timedelta
from functools import cache
from typing import Any

from app.batch.batch import prepare
from app.batch.lanes import WeatherDraws
from app.comparing.compare import answer_compare
from app.comparing.hold import answer_hold
from app.comparing.order_size import answer_order_size
from app.comparing.simulation import BatchSimulation, RouteDraws, shared_draws
from app.risk.risk import answer_risk
from app.schemas.compare import CompareAnswer, CompareRequest
from app.schemas.hold import HoldAnswer, HoldRequest
from app.schemas.order_size import OrderSizeAnswer, OrderSizeRequest
from app.schemas.risk import RiskRequest
from app.serving.engine import Engine

Fields = dict[str, Any]

COURIER: Fields = {"name": "courier", "service": "courier", "freight": 135, "handling": 28, "collection": 0}
CARGO: Fields = {"name": "air cargo", "service": "air_cargo", "freight": 288, "handling": 0, "collection": 36}
PAPERS = {"import_permit": True, "phytosanitary_certificate": True, "invoice": True, "waybill_copy": True}
COSTS = {
    "phyto": 35, "permit": 25, "other": 0, "duty_rate": 0.06, "tax_rate": 0.2,
    "dutiable": "plants", "tax_reclaimed_share": 0,
}  # fmt: skip


def fixed(days: float) -> Fields:
    """Return a time in transit that is always the same."""
    return {"p10": days, "p50": days, "p90": days}


def line(genus: str, quantity: int, **fields: Any) -> Fields:
    """Return a line of plants that cost 8 and sell for 31."""
    return {"genus": genus, "quantity": quantity, "unit_cost": 8, "sale_value": 31} | fields


# Two lines of the shop of data/demo; everything said, so that nothing is assumed; 11 January 2027 is a Monday.
BATCH: Fields = {
    "origin": "SRG",
    "destination": "GLA",
    "currency": "GBP",
    "packing": {"container": "foam_box", "roots": "damp_wrap", "heat_pack_hours": 72, "heat_packs": 1, "capacity": 55},
    "lines": [line("Aglaonema", 18), line("Hoya", 14, unit_cost=12, sale_value=42)],
    "costs": COSTS,
    "recourse": {"kind": "refund", "chance": 0.5, "claim_window_hours": 48},
    "damaged_value_share": 0.4,
    "risk": {"max_loss_share": 0.25, "confidence": 0.8},
    "paperwork": PAPERS,
    "routes": [COURIER, CARGO],
    "draws": 1024,
    "seed": 1,
}
MONDAY = "2027-01-11"
# Every day of the first half of 2027 is worked; 2 January is a Saturday.
EVERY_DAY: Fields = {
    "open_dates": [
        (date(2027, 1, 2) + timedelta(days=7 * week + day)).isoformat() for week in range(26) for day in (0, 1)
    ],
    "public_holidays": False,
}


@cache
def engine() -> Engine:
    """Return the model that speaks from rules of thumb."""
    return Engine.load()


def compare_request(**fields: Any) -> CompareRequest:
    """Return a validated request: the invented batch with fields changed."""
    return CompareRequest.model_validate_json(json.dumps({"ship_date": MONDAY} | BATCH | fields))


def compare(**fields: Any) -> CompareAnswer:
    """Compare the routes of the invented batch with fields changed."""
    return answer_compare(compare_request(**fields), engine())


def hold(**fields: Any) -> HoldAnswer:
    """Compare ship dates of the invented batch with fields changed."""
    span = {"earliest": MONDAY, "latest": "2027-01-18"}
    return answer_hold(HoldRequest.model_validate_json(json.dumps(span | BATCH | fields)), engine())


def order_size_request(**fields: Any) -> OrderSizeRequest:
    """Return a validated request for the size of an order."""
    return OrderSizeRequest.model_validate_json(json.dumps({"ship_date": MONDAY} | BATCH | fields))


def order_size(**fields: Any) -> OrderSizeAnswer:
    """Size the order of a line of the invented batch with fields changed."""
    return answer_order_size(order_size_request(**fields), engine())


def risk(*queries: Fields) -> list[Fields]:
    """Answer risk queries."""
    request = RiskRequest.model_validate_json(json.dumps({"queries": list(queries)}))
    answer: Fields = json.loads(answer_risk(request, engine()))
    assert answer["model_version"] == engine().model_version
    results: list[Fields] = answer["results"]
    return results


def simulation(request: CompareRequest) -> tuple[BatchSimulation, WeatherDraws]:
    """Return what draws the outcomes of a request."""
    return shared_draws(request, prepare(request, engine()), engine(), request.ship_date)


def outcomes(route: int = 0, **fields: Any) -> RouteDraws:
    """Return the joint draws behind one route of a comparison."""
    request = compare_request(**fields)
    drawn, weather = simulation(request)
    plan = prepare(request, engine()).routes[route].plan
    return drawn.outcomes(plan, drawn.journeys(plan, request.ship_date, weather))
