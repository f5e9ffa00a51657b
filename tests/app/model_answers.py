"""What the model answers to fixed questions: ``python -m tests.app.model_answers`` records it beside the model's name.

The questions are invented. They touch every part whose change would change answers under the same tables: prior, clock,
box, late loss, times in transit as tabulated and as learned, fit, simulation and money.
"""

import json
import math
import sys
from pathlib import Path
from typing import Any

import numpy as np

from app.batch import Lane, resolve_place
from app.comparing.compare import answer_compare
from app.comparing.hold import answer_hold
from app.risk.risk import answer_risk
from app.schemas import CompareRequest, HoldRequest, RiskRequest
from app.serving import Engine, LearnedTimes
from model.exposure import Box, conductance_w_per_k, constant_log_days
from model.exposure.damage import damage_rate
from model.exposure.recorded import binned, binned_rates, log_days
from model.fit import LINE_DTYPE
from model.fit.survival import TransitSurvival
from model.predict import Rechecks, clock_draws, learn_late_loss
from model.transit import TransitRecord, learn_transit

ANSWERS_FILE = Path(__file__).with_name("model_answers.json")
GENERA = ("Anthurium", "Aglaonema", "Araucaria", "Hoya", "Adenium")
INSIDE_C = (-3.0, 2.0, 9.0, 14.0, 20.0, 29.0, 41.0)
# Answers agree to so many parts of themselves on any machine; the mode of the fit is found less closely.
TOLERANCE, OF_THE_FIT = 1e-4, 2e-3
BATCH: dict[str, Any] = {
    "origin": "SGN",
    "destination": "OSL",
    "seller_kind": "exporter",
    "packing": {"container": "lined_carton", "roots": "damp_paper", "heat_pack_hours": 40, "cold_packs": 1},
    "lines": [
        {"genus": "Hoya", "quantity": 9, "unit_cost": 7, "sale_value": 24},
        {"genus": "Aglaonema", "cultivar": "Inventum", "quantity": 14, "unit_cost": 9, "sale_value": 30},
        {"genus": "Inventia", "quantity": 150, "unit_cost": 2, "sale_value": 6},
    ],
    "recourse": {"kind": "replacement"},
    "paperwork": {"import_permit": False},
    "routes": [
        {"name": "post", "service": "post", "freight": 130, "travel": "apart"},
        {"name": "courier", "service": "courier", "freight": 160},
        {"name": "cargo", "service": "air_cargo", "freight": 340, "transit_days": {"p10": 2, "p50": 3, "p90": 6}},
    ],
    "draws": 1024,
}


def prior(engine: Engine) -> dict[str, list[float]]:
    """Return quantiles of the parameters and scales of the rules of thumb."""
    parameters = engine.draws.parameters
    names = ("alpha", "kappa", "delta", "log_q10", "chill_rate", "h0", "lost")
    drawn = {name: getattr(parameters, name) for name in names}
    return {name: quantiles(draws) for name, draws in (drawn | dict(parameters.scales)).items()}


def clock(engine: Engine) -> dict[str, list[float]]:
    """Return the mean log damage rate of some genera, and of an unknown one, at some temperatures."""
    genera = [engine.reference.find_genus(name)[0] for name in (*GENERA, "Inventia")]
    drawn = clock_draws(genera, engine.chance_draws)
    rates = [np.log(damage_rate(np.array(inside), drawn)).mean(axis=1) for inside in INSIDE_C]
    return dict(zip((*GENERA, "unknown"), np.stack(rates, axis=1).tolist(), strict=True))


def late_loss(engine: Engine) -> dict[str, list[float]]:
    """Return chances of late loss by chill dose: by the rules of thumb, and learned from two boxes counted again."""
    doses = np.array([0.0, 0.5, 4.0, 12.0])
    looked_at, lost = np.array([9.0, 4.0, 12.0]), np.array([0.0, 2.0, 5.0])
    recheck = Rechecks(np.array([0, 0, 1]), np.array([0.0, 2.0, 6.0]), looked_at, lost)
    learned = learn_late_loss(engine.reference.late_loss_rules, recheck, 512, rng=np.random.default_rng(3))
    draws = {"rules": engine.chance_draws.late_loss, "learned": learned}
    return {name: [float(own.chance(np.array(dose)).mean()) for dose in doses] for name, own in draws.items()}


def boxes(engine: Engine) -> dict[str, list[float]]:
    """Return time constant and rises from packs of each container."""
    answers = {}
    for code, row in engine.reference.containers.items():
        ua = conductance_w_per_k(row.length_m, row.width_m, row.height_m, row.wall_m, row.conductivity_w_per_mk)
        box = Box(ua, row.heat_capacity_j_per_k, heat_pack_hours=40, heat_packs=2, cold_packs=1)
        warming, cooling = box.rises_c(30)
        answers[code] = [box.time_constant_h, float(warming.sum()), float(cooling.sum())]
    return answers


def recorded(engine: Engine) -> dict[str, float]:
    """Return mean and sd of log days of two boxes in air of 18 °C, by dates alone and by times."""
    bins, rates = binned(np.full((1, 2), 18.0), np.array([[2.0, 3.0]])), binned_rates(12.0, 0.4)
    answers: dict[str, float] = {}
    for name, dates_only in (("dates", True), ("times", False)):
        mean, variance = log_days(bins, rates, 5.0, dates_only=dates_only)
        answers |= {f"{name} mean": float(mean.mean()), f"{name} sd": float(np.sqrt(variance.mean()))}
    return answers


def transit(engine: Engine) -> dict[str, list[float]]:
    """Return chances to have arrived by some days, by the tables and as learned from a few boxes."""
    ends = [resolve_place(code, "", engine.reference).place for code in ("SGN", "OSL")]
    answers = {}
    for service in engine.reference.services:
        lane = Lane.between(ends[0], ends[1], service, engine.reference)
        solved = lane.solve(lane.usual(LearnedTimes()).quantiles).transit
        answers[service] = [float(p) for p in solved.cdf(np.array([2.0, 3.5, 5.0, 8.0, 14.0, 25.0]))]
    arrived, own_lane = np.array([True, True, True, False]), np.array([0, 0, 1, 1])
    record = TransitRecord(np.array([4.0, 6.0, 9.0, 3.0]), np.array([1.0, 0.25, 1.0, 1.0]), arrived, own_lane)
    learned = learn_transit(solved, record, np.array([1.0, 0.8]))
    delays = [learned.delay_share, learned.delay_size, learned.again_share]
    return answers | {"learned": [*learned.quantiles, *learned.lane_quantiles.ravel(), *delays]}


def fit(engine: Engine) -> dict[str, list[float]]:
    """Return the mode of a small fit: (alpha, kappa, delta), scales and thermal parameters, one seller's drift."""
    n = 12
    lines = np.zeros(n, dtype=LINE_DTYPE)
    lines["shipment"] = [f"box {i // 2:02d}" for i in range(n)]
    lines["genus"] = [("Hoya", "Aglaonema", "Inventia")[i % 3] for i in range(n)]
    lines["cultivar"] = [None, "inventum"] * (n // 2)
    lines["container"] = ["foam_box", "foam_box", "carton"] * (n // 3)
    lines["roots"] = ["damp_wrap", "damp_wrap", "damp_wrap", "dry"] * (n // 4)
    lines["service"] = [("courier", "post")[i // 6] for i in range(n)]
    lines["seller"], lines["seller_kind"] = "invented ferns", "grower"
    lines["quarter"] = [8100 + i // 4 for i in range(n)]
    days, inside = np.linspace(3.0, 12.0, n), np.array([24.0, 21.0, 7.0] * (n // 3))
    lines["log_days"] = constant_log_days(inside, days, np.full(n, 12.0), np.full(n, 0.4))
    healthy = np.array([9, 10, 8, 9, 7, 8, 6, 7, 3, 5, 2, 1], dtype=float)
    dead = np.array([0, 0, 1, 0, 1, 0, 2, 1, 4, 2, 5, 8], dtype=float)
    counts = np.column_stack([healthy, 10.0 - healthy - dead, dead, np.full(n, 10.0)])
    counts[3, :2] = np.nan
    posterior = TransitSurvival(engine.reference, n_draws=64, n_weighed=64).fit(lines, counts).posterior_
    return {"x": posterior.mode_x.tolist(), "theta": posterior.mode_theta.tolist()}


def batch(engine: Engine) -> dict[str, Any]:
    """Return what comparing three routes says, and the means of a hold."""
    compared = answer_compare(
        CompareRequest.model_validate_json(json.dumps(BATCH | {"ship_date": "2027-01-15"})), engine
    )
    answers: dict[str, Any] = {
        route.name: [
            *(route.plants.healthy.mean, route.plants.dead.mean, route.plants.healthy_two_weeks.mean),
            *(route.transit_days.mean, route.inside_c.p05, route.inside_c.p95, route.money.margin.mean),
            *(route.money.worst_5pct_margin, route.chance_loss_within_limit),
        ]
        for route in compared.routes
    }
    asked = BATCH | {"draws": 256, "earliest": "2027-01-15", "latest": "2027-01-17"}
    held = answer_hold(HoldRequest.model_validate_json(json.dumps(asked)), engine)
    return answers | {"hold": [date.margin_mean for date in held.dates]}


def risk(engine: Engine) -> dict[str, list[float]]:
    """Return chances of single lines."""
    inside = {"inside_c": 18}
    lane = {"origin": "SGN", "destination": "OSL", "service": "courier"}
    queries = [
        {"genus": "Hoya", "transit_days": 7, "temperature": inside},
        {"genus": "Adenium", "roots": "dry", "transit_days": 12, "temperature": {"inside_c": 6}, "service": "post"},
        {"genus": "Inventia", "seller_kind": "reseller", "transit_days": 4, "temperature": {"inside_c": 40}},
        {"genus": "Aglaonema", "ship_date": "2027-01-15", "transit_days": 5, "temperature": lane},
    ]
    results = json.loads(answer_risk(RiskRequest.model_validate_json(json.dumps({"queries": queries})), engine))[
        "results"
    ]
    return {
        query["genus"]: [result["healthy"]["mean"], result["healthy"]["low"], result["dead"]["mean"]]  # type: ignore[misc]
        for query, result in zip(queries, results, strict=True)
    }


def quantiles(draws: Any) -> list[float]:
    """Return the quantiles 0.1, 0.5 and 0.9 of draws."""
    return np.quantile(draws, [0.1, 0.5, 0.9]).tolist()  # type: ignore[no-any-return]


PARTS = (prior, clock, late_loss, boxes, recorded, transit, fit, batch, risk)


def answers() -> dict[str, Any]:
    """Return the answers of every part, rounded to seven digits."""
    engine = Engine.load()
    found = {part.__name__: part(engine) for part in PARTS}
    return json.loads(json.dumps(found), parse_float=lambda text: float(f"{float(text):.7g}"))  # type: ignore[no-any-return]


def moved(recorded: Any, now: Any, place: str = "") -> list[str]:
    """Return where two nested answers differ by more than the tolerance."""
    if isinstance(recorded, dict) and isinstance(now, dict) and recorded.keys() == now.keys():
        return [m for key in recorded for m in moved(recorded[key], now[key], f"{place}/{key}")]
    if isinstance(recorded, list) and isinstance(now, list) and len(recorded) == len(now):
        return [m for i, pair in enumerate(zip(recorded, now, strict=True)) for m in moved(*pair, f"{place}/{i}")]
    if isinstance(recorded, (int, float)) and isinstance(now, (int, float)):
        of = OF_THE_FIT if place.startswith("/fit/") else TOLERANCE
        return [] if math.isclose(recorded, now, rel_tol=of, abs_tol=0.1 * of) else [f"{place}: {recorded} -> {now}"]
    return [place]


def main() -> None:
    """Record the answers under the model's name; other answers under the same name are refused."""
    name, found = Engine.load().model_version, answers()
    if ANSWERS_FILE.exists():
        recorded = json.loads(ANSWERS_FILE.read_text(encoding="utf-8"))
        if recorded["model_version"] == name and (differences := moved(recorded["answers"], found)):
            sys.exit("\n".join((*differences, "other answers under the same name: raise MODEL_REVISION first")))
    ANSWERS_FILE.write_text(json.dumps({"model_version": name, "answers": found}, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
