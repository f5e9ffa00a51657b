"""A seller who gets worse is noticed; one who does not, or has too few boxes, is not called so."""

from datetime import date, timedelta

import numpy as np
import pytest
from scipy import stats

from app.batch.senders import quarter_of
from app.schemas.sellers import Trend
from app.sellers.trend import drift_odds, quarter_name, seller_trend
from tests.app.batches import engine
from tests.app.client import Client
from tests.app.fits import fitted_engine
from tests.app.ledger_files import csv_bytes, row


def shipments(seller: str, start: date, n: int, dead: int) -> list[dict[str, str]]:
    """Return boxes of five days at 20 °C, one every five days, of 20 plants each."""
    rows = []
    for i in range(n):
        ship_date = start + timedelta(days=5 * i)
        cells = {
            "shipment": f"{seller} {start} {i}",
            "seller": seller,
            "ship_date": ship_date.isoformat(),
            "arrival_date": (ship_date + timedelta(days=5)).isoformat(),
            "inside_temp_c": "20",
            "healthy": str(20 - 2 * dead),
            "damaged": str(dead),
            "dead": str(dead),
        }
        rows.append(row(**cells))
    return rows


EARLY, LATER = date(2025, 1, 6), date(2026, 7, 6)
LEDGER = csv_bytes(
    *shipments("Worse", EARLY, 12, 1),
    *shipments("Worse", LATER, 12, 4),
    *shipments("Steady", EARLY, 12, 2),
    *shipments("Steady", LATER, 12, 2),
    *shipments("Better", EARLY, 12, 4),
    *shipments("Better", LATER, 12, 1),
    *shipments("One Season", EARLY, 6, 8),
    *shipments("Rare", EARLY, 1, 0),
    *shipments("Rare", LATER, 1, 9),
)


def trend(name: str) -> Trend:
    """Return the trend of a seller after a fit to the ledger of this module."""
    return seller_trend(fitted_engine(LEDGER), name.casefold(), name)


def test_seller_who_gets_worse_is_noticed() -> None:
    found = trend("Worse")
    assert found.verdict == "worse"
    assert found.chance_worse is not None
    assert found.chance_worse > 0.9
    assert found.drift_odds is not None
    assert found.drift_odds > 1
    assert found.change is not None
    assert found.change.p50 < 1
    assert found.text.startswith("Worse gets worse, with ")
    assert " 0.0 " not in found.text
    assert "plants sent in 2026 Q3 last" in found.text
    assert [(quarter.quarter, quarter.boxes) for quarter in found.quarters] == [("2025 Q1", 12), ("2026 Q3", 12)]
    assert found.quarters[0].time_ratio.p50 > found.quarters[1].time_ratio.p50


def test_seller_who_gets_better_is_not_called_worse() -> None:
    found = trend("Better")
    assert found.verdict == "better"
    assert found.change is not None
    assert found.change.p50 > 1


def test_steady_seller_is_not_said_to_change() -> None:
    found = trend("Steady")
    assert found.verdict == "no_change_seen"
    assert found.drift_odds is not None
    assert found.drift_odds < 1  # its boxes are likelier without drift


def test_drift_is_never_named_without_boxes_in_two_seasons() -> None:
    found = trend("One Season")
    assert (found.verdict, found.change, found.chance_worse, found.drift_odds) == ("too_few_boxes", None, None, None)
    assert found.text == "Too few boxes to tell whether One Season changes: boxes from two quarters are needed."


def test_two_boxes_are_too_few_however_bad_the_last_was() -> None:
    assert trend("Rare").verdict == "too_few_boxes"


def test_unknown_seller_and_rules_of_thumb_have_no_trend() -> None:
    assert trend("Nobody").verdict == "too_few_boxes"
    assert seller_trend(engine(), "worse", "Worse").quarters == []


def test_trend_is_shown_with_the_seller(ledger_client: Client) -> None:
    headers = {"content-type": "text/csv"}
    ledger_client.post("/v1/shipments/import", content=LEDGER, headers=headers).raise_for_status()
    found = ledger_client.get("/v1/sellers/one season").json()["trend"]
    assert found["verdict"] == "too_few_boxes"


def test_odds_are_the_ratio_of_densities_at_no_change() -> None:
    """Normal posterior and prior, where the ratio is known (scipy.stats.norm); the kernel errs by some per cent."""
    rng = np.random.default_rng(5)
    prior_sd = np.full(4096, 0.3)
    # States two quarters apart correlate by 0.8^2, so their difference has the variance 2 (1 - 0.64) of one.
    gap_sd = 0.3 * np.sqrt(2 * (1 - 0.64))
    for mean, sd in ((0.0, 0.1), (0.3, 0.15), (-0.2, 0.2)):
        exact = stats.norm(0, gap_sd).pdf(0) / stats.norm(mean, sd).pdf(0)
        found = drift_odds(mean + sd * rng.standard_normal(4096), prior_sd, 2)
        assert found == pytest.approx(exact, rel=0.15)


def test_boxes_that_say_nothing_leave_the_odds_even() -> None:
    rng = np.random.default_rng(6)
    sd = np.exp(np.log(0.25) + 0.4 * rng.standard_normal(4096))
    prior_gap = sd * np.sqrt(2 * (1 - 0.8)) * rng.standard_normal(4096)
    assert drift_odds(prior_gap, sd, 1) == pytest.approx(1.0, rel=0.1)


def test_far_from_no_change_the_odds_stay_a_number() -> None:
    assert drift_odds(np.full(1024, 50.0) + np.linspace(0, 0.1, 1024), np.full(64, 0.2), 1) == 1e6


def test_quarters_in_words() -> None:
    # Quarters of the calendar: January is in the first, December in the fourth.
    assert quarter_name(quarter_of(date(2027, 1, 1))) == "2027 Q1"
    assert quarter_name(quarter_of(date(2026, 12, 31))) == "2026 Q4"
