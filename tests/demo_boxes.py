"""Write data/demo/boxes.csv and the fit of it: ``python -m tests.demo_boxes`` from the top of the repository.

Run it after every change of the reference tables, since a fit is of the tables that it was made with.

Two years of boxes of the invented shop. What was sent is drawn first; its journeys, weather and counts are drawn by the
model itself from a truth that stands here: its common parameters are the medians of the rules of thumb, and a few
genera and sellers deviate. Everything is invented; the same seed writes the same file.
"""

import csv
import hashlib
import io
import json
from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.batch import RoutePlan, WeatherDraws, prepare
from app.cli.demo import ARRAYS, LEARNED, refitted
from app.comparing.simulation import BatchSimulation, shared_draws
from app.records import COLUMNS
from app.schemas import CompareRequest
from app.serving import Engine, FitRecord, FittedModel, to_artefact
from model.exposure.journey import follow_inside
from model.plant import Level
from model.predict import PosteriorDraws, draw_prior_posterior
from model.prior import ParameterDraws
from model.reference import Reference, load_reference

Array = NDArray[np.float64]

BOXES_FILE = Path(__file__).resolve().parents[1] / "data" / "demo" / "boxes.csv"
SEED = 2026
N_BOXES = 40
FIRST_MONDAY = date(2024, 9, 30)
N_WEEKS = 104
# As many as an engine answers chances from; a box is the first of them.
DRAWS = 512
# Draws of the stored fit: a quarter of a refit's, so that the file stays small.
STORED = 1024
LOGGER_SHARE = 0.2
RECHECK_SHARE = 0.3
RECHECK_DAYS = 14


class Sender(NamedTuple):
    """A seller of the shop: how often it is chosen, and what it grows, with cost and sale value in GBP."""

    name: str
    kind: str
    origin: str
    share: float
    plants: tuple[tuple[str, float, float], ...]


SENDERS = (
    Sender(
        "Invented Ferns", "grower", "SRG", 0.5,
        (("Aglaonema", 8, 31), ("Hoya", 12, 42), ("Alocasia", 10, 38), ("Begonia", 6, 22)),
    ),
    Sender("Nowhere Nursery", "exporter", "SRG", 0.2, (("Hoya", 9, 42), ("Aglaonema", 6.5, 31), ("Begonia", 4.5, 22))),
    Sender(
        "Jardín Ficticio", "grower", "SJO", 0.3,
        (("Philodendron", 11, 40), ("Peperomia", 5, 18), ("Goeppertia", 7, 26)),
    ),
)  # fmt: skip
# Deviations from the tables and from an average seller on the scale of eta: above 0 is worse.
DEVIATIONS: dict[str, dict[str, float]] = {
    "genus": {"Begonia": -1.0, "Alocasia": 0.9},
    "seller": {"invented ferns": -0.6, "nowhere nursery": 1.0, "jardín ficticio": 0.1},
}


def truth(reference: Reference) -> PosteriorDraws:
    """Return draws that are all the same: what is true of the invented shop, none of whose boxes is lost whole."""
    rules = draw_prior_posterior(reference, DRAWS, seed=SEED)
    known = rules.parameters
    names = ("alpha", "kappa", "delta", "log_q10", "chill_rate", "h0")
    parameters = ParameterDraws(
        **{name: same(float(np.median(getattr(known, name)))) for name in names},
        lost=same(0.0),
        scales={name: same(float(np.median(values))) for name, values in known.scales.items()},
        n_replaced=0,
    )
    genera = [genus for sender in SENDERS for genus, _, _ in sender.plants]
    average: dict[str, Iterable[str]] = {
        "genus": genera,
        "group": {reference.genera[genus].group for genus in genera},
        "container": reference.containers,
        "roots": reference.roots,
        "service": reference.services,
        "seller_kind": reference.seller_kinds,
    }
    effects: dict[str, dict[Level, Array]] = {
        kind: {level: same(0.0) for level in levels} for kind, levels in average.items()
    }
    for kind, deviations in DEVIATIONS.items():
        effects[kind] = effects.get(kind, {}) | {level: same(value) for level, value in deviations.items()}
    return replace(rules, parameters=parameters, effects=effects)


def same(value: float) -> Array:
    """Return draws that are all one value, (draws,)."""
    return np.full(DRAWS, value)


def request(ship_date: date, seed: int, rng: np.random.Generator) -> dict[str, Any]:
    """Return what a box holds and how it travels."""
    sender = SENDERS[rng.choice(len(SENDERS), p=[sender.share for sender in SENDERS])]
    service = ("courier", "air_cargo")[int(rng.random() < 0.35)]
    winter = ship_date.month in (11, 12, 1, 2, 3)
    kept = sorted(rng.permutation(len(sender.plants))[: rng.integers(2, len(sender.plants) + 1)])
    return {
        "origin": sender.origin,
        "destination": "GLA",
        "ship_date": ship_date.isoformat(),
        "currency": "GBP",
        "seller": sender.name,
        "seller_kind": sender.kind,
        "packing": {"heat_pack_hours": 72 if winter else 0},
        "lines": [
            {"genus": genus, "quantity": int(rng.integers(8, 23)), "unit_cost": cost, "sale_value": value}
            for genus, cost, value in (sender.plants[i] for i in kept)
        ],
        "routes": [{"name": service, "service": service, "freight": 0, "boxes": 1}],
        "draws": DRAWS,
        "seed": seed,
    }


def logged_mean_c(simulation: BatchSimulation, plan: RoutePlan, ship_date: date, weather: WeatherDraws) -> float:
    """Return the mean of a logger in the box, °C."""
    total, delay = plan.transit.sample(*simulation.numbers.journey(0))
    closed_at = plan.lane.closing(ship_date)
    ends = plan.itinerary(closed_at, 0.0).ends_h(total - delay, delay, np.zeros_like(delay))[:, :1]
    streets = weather.streets(plan.lane, closed_at, int(np.ceil(ends[-1, 0])) + 1)
    inside, hours = follow_inside(plan.lane.legs, ends, streets, plan.box)
    return float((inside * hours).sum() / hours.sum())


def rows() -> Iterator[dict[str, object]]:
    """Yield a row a line of every box."""
    reference = load_reference()
    engine = Engine("the truth behind the invented boxes", reference, truth(reference))
    rng = np.random.default_rng(SEED)
    weeks = np.sort(rng.choice(N_WEEKS, N_BOXES, replace=False))
    for number, week in enumerate(weeks, start=1):
        ship_date = FIRST_MONDAY + timedelta(days=7 * int(week) + int(rng.integers(3)))
        asked = CompareRequest.model_validate_json(json.dumps(request(ship_date, SEED + number, rng)))
        prepared = prepare(asked, engine, ship_date)
        plan = prepared.routes[0].plan
        simulation, weather = shared_draws(asked, prepared, engine, ship_date)
        drawn = simulation.outcomes(plan, simulation.journeys(plan, ship_date, weather))
        opened = plan.lane.local(plan.lane.closing(ship_date) + timedelta(days=float(drawn.days[0])), "destination")
        logged = rng.random() < LOGGER_SHARE
        mean_c = f"{logged_mean_c(simulation, plan, ship_date, weather):.1f}" if logged else ""
        rechecked = rng.random() < RECHECK_SHARE
        for line, healthy, damaged, dead, later in zip(
            asked.lines, drawn.healthy[0], drawn.damaged[0], drawn.dead[0], drawn.healthy_two_weeks[0], strict=True
        ):
            cells: dict[str, object] = {
                "shipment": f"demo-{number:02d}",
                "seller": asked.seller,
                "service": asked.routes[0].service,
                "origin": asked.origin,
                "destination": asked.destination,
                "container": asked.packing.container,
                "roots": asked.packing.roots,
                "heat_pack_hours": int(asked.packing.heat_pack_hours),
                "ship_date": ship_date,
                "arrival_date": opened.date(),
                "inside_temp_c": mean_c,
                "genus": line.genus,
                "cultivar": "",
                "sent": line.quantity,
                "healthy": healthy,
                "damaged": damaged,
                "dead": dead,
                "heat_packs": asked.packing.heat_packs,
                "cold_packs": 0,
                "seller_kind": asked.seller_kind,
                "unit_cost": f"{line.unit_cost:.2f}",
                "sale_value": f"{line.sale_value:.2f}",
                "currency": asked.currency,
            }
            if rechecked:
                cells |= {
                    "recheck_date": opened.date() + timedelta(days=RECHECK_DAYS),
                    "recheck_healthy": later,
                    "recheck_damaged": healthy + damaged - later,
                    "recheck_dead": 0,
                    "recheck_gone": 0,
                }
            yield cells


def boxes_csv() -> str:
    """Return the file as text."""
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows())
    return out.getvalue()


def smaller(fit: FittedModel) -> tuple[FittedModel, bytes]:
    """Return a fit by its first draws, as an artefact of a quarter of the size."""
    few = fit.draws.take(np.arange(STORED))
    draws = PosteriorDraws(few.parameters, few.late_loss, few.reference, few.key, few.effects)
    manifest = fit.manifest
    record = FitRecord(
        manifest.fitted_at,
        manifest.data_fingerprint,
        manifest.n_lines,
        manifest.diagnostics,
        manifest.n_rechecked_boxes,
        manifest.n_rechecked_plants,
        manifest.delay_check,
        fit.falls,
        manifest.criticism,
    )
    return to_artefact(draws, fit.counts, fit.variance, fit.times, record)


def main() -> None:
    """Write the boxes, fit the model to them as the command line does, and write the fit."""
    boxes = boxes_csv().encode()
    BOXES_FILE.write_bytes(boxes)
    fit, arrays = smaller(refitted(boxes, load_reference()))
    stored = {
        "note": "Written by python -m tests.demo_boxes: the model fitted to the invented boxes.csv.",
        "boxes_sha256": hashlib.sha256(boxes).hexdigest(),
        "manifest": fit.manifest.model_dump(mode="json"),
    }
    BOXES_FILE.with_name(LEARNED).write_text(json.dumps(stored, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    BOXES_FILE.with_name(ARRAYS).write_bytes(arrays)


if __name__ == "__main__":
    main()
