"""Evidence of an answer: boxes and plants counted in the file, weights against the closed form, cautions that go."""

import csv
import io
import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from app.comparing.compare import answer_compare
from app.comparing.hold import answer_hold
from app.records.ledger import seller_key
from app.risk.risk import answer_risk
from app.schemas.compare import CompareRequest
from app.schemas.hold import HoldRequest
from app.schemas.risk import RiskRequest
from app.serving.engine import Engine
from model.plant.plant import KINDS, Level, Plant
from model.predict.evidence import FitVariance
from model.reference.tables import load_reference
from tests.app.batches import BATCH, Fields, engine, line
from tests.app.fits import LEDGER, fitted_engine, likely_ledger
from tests.app.ledger_files import SELLERS, csv_bytes, row

ROWS = list(csv.DictReader(io.StringIO(LEDGER.decode())))
QUERY: Fields = {"genus": "Aglaonema", "transit_days": 6, "temperature": {"inside_c": 22}}


def risk(*queries: Fields, using: Engine | None = None) -> list[dict[str, Any]]:
    request = RiskRequest.model_validate_json(json.dumps({"queries": [QUERY | query for query in queries]}))
    answer: list[dict[str, Any]] = json.loads(answer_risk(request, using or fitted_engine()))["results"]
    return answer


def counted(**wanted: str) -> tuple[int, int]:
    """Return boxes and plants of the file whose rows have these cells."""
    rows = [cells for cells in ROWS if all(cells[name] == value for name, value in wanted.items())]
    return len({cells["shipment"] for cells in rows}), sum(int(cells["sent"]) for cells in rows)


def behind(result: dict[str, Any]) -> tuple[int, int]:
    return result["evidence"]["shipments"], result["evidence"]["plants"]


def codes(result: dict[str, Any]) -> list[str]:
    return [caution["code"] for caution in result["cautions"]]


def test_boxes_and_plants_are_those_of_the_file() -> None:
    seller = SELLERS[0]
    with_genus, with_seller, old_name, unheard = risk(
        {}, {"seller": f" {seller.upper()} "}, {"genus": "Calathea"}, {"genus": "Hoya", "seller": "Unheard Of"}
    )
    assert behind(with_genus) == counted(genus="Aglaonema") > (3, 30)
    assert behind(with_seller) == counted(genus="Aglaonema", seller=seller) > (0, 0)
    assert behind(old_name) == counted(genus="Calathea")
    assert behind(unheard) == (0, 0)


def test_rules_of_thumb_have_no_evidence() -> None:
    [result] = risk({"seller": SELLERS[0]}, using=engine())
    assert result["evidence"] == {"shipments": 0, "plants": 0, "weight": 0.0}


def test_weight_is_less_for_what_no_box_has_shown() -> None:
    own, no_genus, no_seller, no_cultivar = risk(
        {"seller": SELLERS[0], "cultivar": "No. 1"},
        {"genus": "Monstera", "seller": SELLERS[0], "cultivar": "No. 1"},
        {"seller": "Unheard Of", "cultivar": "No. 1"},
        {"seller": SELLERS[0], "cultivar": "Unheard of"},
    )
    weights = [result["evidence"]["weight"] for result in (own, no_genus, no_seller, no_cultivar)]
    assert 0.0 < max(weights[1:]) < weights[0] < 1.0


def test_weight_grows_with_boxes() -> None:
    few, many = (fitted_engine(likely_ledger(n, 5)) for n in (3, 30))
    weights = [risk({}, using=one)[0]["evidence"]["weight"] for one in (few, many)]
    assert weights[0] < weights[1]


def test_weight_of_an_observed_predictor_is_the_closed_form() -> None:
    """Observing eta itself with noise of variance s2 leaves V s2 / (V + s2) of its prior variance V (normal theory)."""
    reference = load_reference()
    levels: dict[str, tuple[Level, ...]] = dict.fromkeys(KINDS, ())
    levels |= {"genus": ("Aglaonema",), "seller": ("one",), "drift": (("one", 8000), ("one", 8002))}
    scales = {"genus_multiplier": 1.0, "cultivar": 0.3, "seller": 0.5, "drift": 0.25}
    sd_genus = 3.3 * reference.genera["Aglaonema"].time_ratio_sd_log
    covariance = np.diag([0.4, 0.3, sd_genus**2, 0.25, 0.0625, 0.0625])
    covariance[0, 1] = covariance[1, 0] = -0.1
    covariance[4, 5] = covariance[5, 4] = 0.0625 * 0.8**2
    clock, noise = 0.3, 0.2
    plant = Plant(reference.genera["Aglaonema"], seller="one", quarter=8002)
    # Cultivar, service and kind are drawn from their populations: no box can bear on them here.
    unseen = 0.3**2 + sum(reference.prior_scales[kind].median ** 2 for kind in ("service", "seller_kind"))
    loading = np.array([1.0, clock, 1.0, 1.0, 0.0, 1.0])
    gain = covariance @ loading
    seen = float(loading @ gain)
    posterior = covariance - np.outer(gain, gain) / (seen + noise)
    variance = FitVariance(levels, np.diag(covariance), -0.1, posterior.astype(np.float32), scales, reference)
    expected = (seen - seen * noise / (seen + noise)) / (seen + unseen)
    clocks = np.array([clock])
    assert variance.weights(variance.terms([plant]), clocks) == pytest.approx([expected], rel=1e-5)
    # No quarter: the latest. A quarter on: its state is 0.8 of that, the rest is new.
    latest = variance.terms([replace(plant, quarter=None)])
    assert variance.weights(latest, clocks) == pytest.approx([expected], rel=1e-5)
    later = np.array([1.0, clock, 1.0, 1.0, 0.0, 0.8])
    rest = unseen + (1 - 0.8**2) * 0.0625
    expected = 1 - (later @ posterior @ later + rest) / (later @ covariance @ later + rest)
    beyond = variance.terms([replace(plant, quarter=8003)])
    assert variance.weights(beyond, clocks) == pytest.approx([expected], rel=1e-5)


def test_cautions_go_where_boxes_are_recorded() -> None:
    known, unheard = risk(
        {"seller": SELLERS[0].lower(), "cultivar": "NO. 1"}, {"seller": "Unheard Of", "cultivar": "Unheard of"}
    )
    assert codes(known) == ["irritant_sap"]
    assert codes(unheard) == ["unknown_seller", "unknown_cultivar", "irritant_sap"]
    fields = {"lines": [line("Aglaonema", 20, cultivar="No. 1")], "draws": 256, "ship_date": "2027-01-11"}
    for seller, expected in ((SELLERS[0].upper(), set()), ("Unheard Of", {"unknown_seller"})):
        request = CompareRequest.model_validate_json(json.dumps(BATCH | fields | {"seller": seller}))
        said = {caution.code for caution in answer_compare(request, fitted_engine()).cautions}
        assert said & {"no_own_record", "unknown_seller", "unknown_cultivar"} == expected


def worse() -> bytes:
    """Return a ledger of one seller whose boxes are well in summer and bad in autumn."""
    dates = [(f"2026-{month:02d}-{day:02d}", month > 9) for month in (7, 8, 10, 11) for day in (1, 4, 7, 10)]
    rows = []
    for i, (day, bad) in enumerate(dates):
        healthy = 2 if bad else 19
        cells = {"shipment": f"Q-{i}", "ship_date": day, "arrival_date": day[:-2] + f"{int(day[-2:]) + 5:02d}"}
        cells |= {"inside_temp_c": "20", "healthy": str(healthy), "damaged": "0", "dead": str(20 - healthy)}
        rows.append(row(**cells))
    return csv_bytes(*rows)


def test_ship_date_picks_the_quarter_of_the_seller() -> None:
    using = fitted_engine(worse())
    seller = {"seller": "Invented Ferns", "seller_kind": None}
    days = ("2026-08-01", "2026-11-01", None)
    summer, autumn, latest = risk(*({**seller, "ship_date": day} for day in days), using=using)
    assert latest["healthy"] == autumn["healthy"]
    assert summer["healthy"]["mean"] > autumn["healthy"]["mean"] + 0.01
    # Nobody is named: the date says nothing.
    anyone = risk(*({"ship_date": day} for day in days), using=using)
    assert anyone[0] == anyone[1] == anyone[2]


def test_compare_and_hold_take_the_quarter_of_each_ship_date() -> None:
    using = fitted_engine(worse())
    always = dict.fromkeys(("p10", "p50", "p90"), 5)
    fixed = {"name": "courier", "service": "courier", "freight": 150, "transit_days": always}
    asked = {"lines": [line("Aglaonema", 20)], "routes": [fixed], "draws": 512, "seller": "invented ferns"}
    # A box that would be opened on the weekend does not wait.
    batch = BATCH | {"open_dates": ["2026-10-03", "2026-10-04"], "public_holidays": False} | asked
    # The last two days of September and the first of October: the weather is the same but for its season.
    dates = {"earliest": "2026-09-29", "latest": "2026-10-01"}
    hold = answer_hold(HoldRequest.model_validate_json(json.dumps(batch | dates)), using)
    before, last, first = (entry.healthy_mean for entry in hold.dates)
    assert abs(before - last) < 0.3 < last - first
    for entry in hold.dates:
        request = CompareRequest.model_validate_json(json.dumps(batch | {"ship_date": str(entry.ship_date)}))
        [route] = answer_compare(request, using).routes
        assert route.plants.healthy.mean == pytest.approx(entry.healthy_mean, abs=0.3)


def test_names_of_sellers_match_as_the_ledger_takes_them() -> None:
    name = "  JARDÍN Ficticio "
    assert using_levels() >= {seller_key(name)}
    one, other = risk({"seller": name}, {"seller": "jardín ficticio"})
    assert one == other


def using_levels() -> set[Level]:
    fit = fitted_engine().fit
    assert fit is not None
    return set(fit.counts.levels["seller"])
