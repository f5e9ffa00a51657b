"""Cold tolerance by genus against two published lists: who is harmed in the dark cold, and shipping temperatures.

* UF RH-93-6 (Poole & Conover 1993): foliage plants held dark for 1 to 4 days at 2.2, 5 and 7.8 °C, unharmed or harmed.
* AH-66 (Hardenburg, Watada & Wang 1986) as reproduced in a trade handbook, the rest of it from memory: best
  temperatures for short trips. Those are shipping temperatures, not injury thresholds, so only their order is compared.

A species is looked up by its genus in the table. Ficus is in both groups of the first list (F. benjamina unharmed,
F. elastica harmed), which a table of genera cannot tell apart: no pair with it is scored there.
"""

from itertools import product

import numpy as np
import pytest

from model.exposure.damage import chill_rate, damage_rate
from model.plant.plant import Plant
from model.predict.predict import MarginalChances, clock_draws, draw_prior_posterior, linear_predictor, plant_effects
from model.prior.priors import BLOCK
from model.reference.tables import load_reference
from tests.model.chilling_lists import HARMED, UNHARMED

REFERENCE = load_reference()
DRAWS = draw_prior_posterior(REFERENCE, BLOCK, seed=9)
MARGINAL = MarginalChances(DRAWS)

COLD_C = (2.2, 5.0, 7.8)
DAYS = 4.0

# °C. Dracaena marginata 13-18 and D. fragrans 16-18: the wider range stands for the genus. Thaumatophyllum is the
# Philodendron selloum of the list; Schefflera stands for S. actinophylla and S. arboricola, which have one range.
SHIPPING_RANGES_C = {
    "Aglaonema": (16, 18),
    "Ardisia": (10, 13),
    "Aspidistra": (10, 13),
    "Chamaedorea": (13, 16),
    "Chrysalidocarpus": (13, 18),
    "Codiaeum": (16, 18),
    "Cordyline": (16, 18),
    "Dieffenbachia": (16, 18),
    "Dracaena": (13, 18),
    "Epipremnum": (16, 18),
    "Ficus": (13, 16),
    "Nephrolepis": (16, 18),
    "Peperomia": (16, 18),
    "Philodendron": (16, 18),
    "Schefflera": (10, 13),
    "Spathiphyllum": (10, 13),
    "Thaumatophyllum": (13, 16),
    "Yucca": (10, 13),
}

# (harmed, unharmed) in the first list while the second ships the harmed one colder: listed, not scored.
SOURCES_DISAGREE = {("Spathiphyllum", "Ficus")}

# Pairs of the first list on which the table answers the other way round: none.
HARMED_BUT_PREDICTED_HARDIER: set[tuple[str, str]] = set()

# (hardier, tenderer) by range with equal thresholds in the table. The range 13-18 of Chrysalidocarpus overlaps 13-16
# wholly, and 13 °C less about 3 °C, from memory, gives 10 °C to all of them.
THRESHOLDS_TIED = {
    ("Chamaedorea", "Chrysalidocarpus"),
    ("Ficus", "Chrysalidocarpus"),
    ("Thaumatophyllum", "Chrysalidocarpus"),
}


def healthy_two_weeks(name: str, inside_c: float) -> float:
    """Return the chance that a plant is healthy two weeks after `DAYS` at a temperature."""
    genus, _ = REFERENCE.find_genus(name)
    assert genus is not None
    clock, inside = clock_draws([genus], DRAWS), np.array([inside_c])
    eta = linear_predictor(plant_effects(Plant(genus), DRAWS), damage_rate(inside, clock)[0] * DAYS, DRAWS)
    late = DRAWS.late_loss.chance(chill_rate(inside, clock)[0] * DAYS)
    return float((MARGINAL(eta)[0] * (1.0 - late)).mean())


def threshold_c(name: str) -> float:
    """Return the chilling threshold of a genus in the table."""
    genus, _ = REFERENCE.find_genus(name)
    assert genus is not None
    return genus.chill_threshold_c


def colder_shipped(one: str, other: str) -> bool:
    """Return whether the shipping range of one lies below that of the other."""
    (low, high), (other_low, other_high) = SHIPPING_RANGES_C[one], SHIPPING_RANGES_C[other]
    return (low, high) != (other_low, other_high) and low <= other_low and high <= other_high


def test_plants_unharmed_in_the_cold_are_predicted_hardier_than_those_harmed() -> None:
    chance = {name: np.mean([healthy_two_weeks(name, c) for c in COLD_C]) for name in (*HARMED, *UNHARMED)}
    pairs = set(product(HARMED, UNHARMED)) - SOURCES_DISAGREE
    disagreeing = {(harmed, unharmed) for harmed, unharmed in pairs if chance[harmed] >= chance[unharmed]}
    assert disagreeing == HARMED_BUT_PREDICTED_HARDIER
    assert len(pairs) - len(disagreeing) == 66


@pytest.mark.parametrize("name", HARMED)
def test_harmed_plants_fare_worse_the_colder(name: str) -> None:
    coldest, colder, cold = (healthy_two_weeks(name, c) for c in COLD_C)
    assert coldest < colder < cold


def test_thresholds_stand_in_the_order_of_shipping_temperatures() -> None:
    pairs = {pair for pair in product(SHIPPING_RANGES_C, repeat=2) if colder_shipped(*pair)}
    disagreeing = {(hardy, tender) for hardy, tender in pairs if threshold_c(hardy) >= threshold_c(tender)}
    assert all(threshold_c(hardy) == threshold_c(tender) for hardy, tender in disagreeing)
    assert disagreeing == THRESHOLDS_TIED
    assert len(pairs) - len(disagreeing) == 108


def test_thresholds_lie_below_the_shipping_range_and_not_above_15_c() -> None:
    # From memory: roughly 3 °C below the range, never above 15 °C.
    for name, (low, _) in SHIPPING_RANGES_C.items():
        assert low - 5 <= threshold_c(name) <= low - 1, name
    assert max(genus.chill_threshold_c for genus in REFERENCE.genera.values()) <= 15


def test_pairs_on_which_the_sources_disagree_are_all_listed() -> None:
    both_harmed = (*HARMED, "Ficus")
    both_unharmed = (*UNHARMED, "Ficus")
    known = [pair for pair in product(both_harmed, both_unharmed) if set(pair) <= set(SHIPPING_RANGES_C)]
    opposed = {(harmed, unharmed) for harmed, unharmed in known if colder_shipped(harmed, unharmed)}
    assert opposed == SOURCES_DISAGREE
