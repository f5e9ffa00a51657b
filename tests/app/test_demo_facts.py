"""What importers of houseplants report (common practice, no source), reproduced by the prior and the services."""

import json
from pathlib import Path

import numpy as np
import pytest

from app.comparing.compare import answer_compare
from app.schemas.compare import CompareRequest
from tests.app.batches import CARGO, COURIER, EVERY_DAY, Fields, compare, engine, line, risk

DEMO = Path(__file__).resolve().parents[2] / "data" / "demo"
AROIDS = [genus.genus for genus in engine().reference.genera.values() if genus.group == "aroid"]
USUAL_AROIDS = ("Philodendron", "Monstera", "Scindapsus", "Epipremnum", "Syngonium", "Rhaphidophora", "Thaumatophyllum")


def healthy(*genera: str, days: float, name: str = "healthy", **fields: object) -> float:
    """Return the mean share with an outcome over genera, in a foam box with damp wrap at 21 °C."""
    queries: list[Fields] = [
        {"genus": genus, "transit_days": days, "temperature": {"inside_c": 21.0}} | fields for genus in genera
    ]
    return float(np.mean([result[name]["mean"] for result in risk(*queries)]))


@pytest.mark.parametrize(
    ("service", "quantiles"),
    [("courier", (3.0, 5.0, 10.0)), ("air_cargo", (2.0, 2.5, 4.0))],
    ids=["courier 3 at best, 5 typical, 10 late", "air cargo 2 to 2.5, late 4"],
)
def test_usual_time_from_south_east_asia_to_another_continent(service: str, quantiles: tuple[float, ...]) -> None:
    # Where every day is worked: the days are those to the door.
    [route] = compare(routes=[COURIER | {"service": service}], draws=4096, **EVERY_DAY).routes
    got = route.transit_days
    assert (got.p10, got.p50, got.p90) == pytest.approx(quantiles, rel=0.05)


def test_courier_rarely_takes_about_twenty_days() -> None:
    # "Rarely about 20, when a warehouse closes": more than a bell curve would have, less than 1 in 20.
    [result] = compare(routes=[COURIER], draws=4096, **EVERY_DAY).routes
    assert result.transit_days.mean > result.transit_days.p50 + 0.5


@pytest.mark.parametrize(
    ("days", "low", "high"),
    [(3.0, 0.94, 0.995), (7.0, 0.75, 0.95), (10.0, 0.50, 0.85), (14.0, 0.15, 0.55), (21.0, 0.01, 0.18)],
)
def test_aroids_survive_about_a_week(days: float, low: float, high: float) -> None:
    assert low <= healthy(*USUAL_AROIDS, days=days) <= high


def test_losses_climb_steeply_past_ten_days() -> None:
    at = {days: healthy(*USUAL_AROIDS, days=float(days)) for days in (3, 7, 10, 14)}
    before, after = (at[3] - at[7]) / 4, (at[10] - at[14]) / 4
    assert after > 2 * before


def test_weeks_late_most_are_dead_and_what_lives_is_bruised() -> None:
    # One to four weeks after a week's trip.
    for days in (21.0, 28.0, 35.0):
        dead, damaged, well = (healthy(*USUAL_AROIDS, days=days, name=name) for name in ("dead", "damaged", "healthy"))
        assert dead > 0.5
        assert damaged > well


def test_anthurium_travels_very_well() -> None:
    for days in (5.0, 7.0, 10.0):
        average = healthy(*AROIDS, days=days)
        assert healthy("Anthurium", days=days) > average + 0.02
        assert healthy("Anthurium", days=days) > healthy("Syngonium", days=days)


def test_scindapsus_travels_well_and_cultivars_differ() -> None:
    assert healthy("Scindapsus", days=7.0) > healthy(*AROIDS, days=7.0)
    named = {healthy("Scindapsus", days=9.0, cultivar=name) for name in ("Silvery Ann", "Jade Satin", "Exotica")}
    assert len(named) == 3


def test_boxes_gathered_by_an_exporter_arrive_in_worse_shape() -> None:
    for days in (5.0, 10.0):
        grower, exporter = (healthy(*USUAL_AROIDS, days=days, seller_kind=kind) for kind in ("grower", "exporter"))
        assert exporter < grower - 0.01


def test_potted_foliage_is_acceptable_after_five_days_by_truck() -> None:
    """All but about 5 % after up to 5 days in the dark (researcher quoted in the Washington Post, 13 April 1980)."""
    for days in (2.0, 5.0):
        share = healthy("Ficus", "Dracaena", "Epipremnum", "Philodendron", days=days, roots="plug",
                        temperature={"inside_c": 17.0})  # fmt: skip
        assert share == pytest.approx(0.95, abs=0.045)


def test_air_cargo_costs_about_twice_the_freight_and_saves_plants() -> None:
    courier, cargo = compare(lines=[line("Alocasia", 40)], routes=[COURIER, CARGO]).routes
    assert cargo.plants.healthy.mean > courier.plants.healthy.mean + 2
    freights = [next(i.amount for i in route.money.items if i.code == "freight") for route in (courier, cargo)]
    assert 1.7 < freights[1] / freights[0] < 2.8


@pytest.mark.parametrize("i", [0, 1])
def test_demo_batches_are_answered(i: int) -> None:
    demo = json.loads((DEMO / "batch.json").read_text(encoding="utf-8"))
    assert "Invented" in demo["note"]
    answer = answer_compare(CompareRequest.model_validate_json(json.dumps(demo["comparisons"][i]["request"])), engine())
    assert answer.recommended in {"courier", "air cargo"}
    assert answer.reason.startswith("Take ")
