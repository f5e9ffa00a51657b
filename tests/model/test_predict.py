"""Predicted chances: laws for every posterior draw, and the average over boxes against dense integration."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import integrate, stats

from model.exposure.damage import damage_rate
from model.plant.plant import Level, Plant
from model.plant.time_ratio import log_time_ratio
from model.predict.predict import (
    MarginalChances,
    PosteriorDraws,
    box_chances,
    clock_draws,
    draw_prior_posterior,
    linear_predictor,
    plant_effects,
)
from model.prior.priors import BLOCK
from model.reference.row_types import Genus
from model.reference.tables import Reference, load_reference

Array = NDArray[np.float64]

REFERENCE: Reference = load_reference()
DRAWS: PosteriorDraws = draw_prior_posterior(REFERENCE, BLOCK, seed=3)
MARGINAL = MarginalChances(DRAWS)
# Chances are averaged in single precision.
SINGLE = 2e-6

repeatable = settings(derandomize=True, deadline=None, max_examples=60)
genera = st.sampled_from([None, *REFERENCE.genera.values()])
plants = st.builds(
    Plant,
    genera,
    container=st.sampled_from(sorted(REFERENCE.containers)),
    roots=st.sampled_from(sorted(REFERENCE.roots)),
    service=st.sampled_from([None, *REFERENCE.services]),
    seller_kind=st.sampled_from([None, *REFERENCE.seller_kinds]),
    seller=st.sampled_from([None, "somebody"]),
)
days = st.floats(0.1, 90.0)
temperatures = st.floats(-20.0, 55.0)


def genus(name: str) -> Genus:
    """Return a genus of the table."""
    return REFERENCE.genera[name]


def predictor(plant: Plant, inside_c: float, transit_days: float, draws: PosteriorDraws = DRAWS) -> Array:
    """Return the linear predictor of a plant held at one temperature, (draws,)."""
    rate = damage_rate(np.array([inside_c]), clock_draws([plant.genus], draws))[0]
    return linear_predictor(plant_effects(plant, draws), rate * transit_days, draws)


def chances(plant: Plant, inside_c: float, transit_days: float) -> tuple[Array, Array]:
    """Return P(healthy) and P(dead) of each draw in double precision."""
    healthy, dead = MARGINAL(predictor(plant, inside_c, transit_days))
    return healthy.astype(float), dead.astype(float)


def no_worse(better: tuple[Array, Array], worse: tuple[Array, Array], where: NDArray[np.bool_] | bool = True) -> bool:
    """Return whether every draw asked for has at least the chance healthy and at most the chance dead."""
    fine = (better[0] >= worse[0] - SINGLE) & (better[1] <= worse[1] + SINGLE)
    return bool((fine | ~np.asarray(where)).all())


@repeatable
@given(plants, temperatures, days, days)
def test_longer_is_never_better(plant: Plant, inside_c: float, one: float, other: float) -> None:
    short, long = sorted((one, other))
    assert no_worse(chances(plant, inside_c, short), chances(plant, inside_c, long))


@repeatable
@given(plants, days, temperatures, temperatures)
def test_warmer_is_never_better_above_the_threshold_and_colder_never_below(
    plant: Plant, transit_days: float, one: float, other: float
) -> None:
    cold_c, warm_c = sorted((one, other))
    cold, warm = chances(plant, cold_c, transit_days), chances(plant, warm_c, transit_days)
    threshold_c = clock_draws([plant.genus], DRAWS).threshold_c[0]
    # A hardy plant's threshold may be drawn below the point where leaves freeze, -1 °C: there cold starts to hurt.
    assert no_worse(cold, warm, where=np.maximum(threshold_c, -1.0) <= cold_c)
    assert no_worse(warm, cold, where=threshold_c >= warm_c)


def test_below_the_threshold_colder_is_worse_for_every_draw() -> None:
    plant = Plant(genus("Scindapsus"))
    threshold_c = clock_draws([plant.genus], DRAWS).threshold_c[0]
    colder, cold = predictor(plant, 1.0, 4.0), predictor(plant, 3.0, 4.0)
    assert threshold_c.min() > 3.0
    assert (colder > cold).all()


@repeatable
@given(plants, temperatures, days)
def test_states_are_in_order_and_leave_no_chance_out(plant: Plant, inside_c: float, transit_days: float) -> None:
    eta = predictor(plant, inside_c, transit_days)
    for healthy, dead in (box_chances(eta, DRAWS.parameters.delta, DRAWS.parameters.h0), MARGINAL(eta)):
        for chance in (healthy, dead, 1.0 - healthy - dead):
            assert ((chance >= -SINGLE) & (chance <= 1.0 + SINGLE)).all()


def test_box_chances_by_hand() -> None:
    # eta = log 0.3, delta = log 3, h0 = 0.02: H_loss = 0.32, H_death = 0.02 exp(-0.7) + 0.1
    healthy, dead = box_chances(np.log([0.3]), np.log([3.0]), np.array([0.02]))
    assert healthy[0] == pytest.approx(np.exp(-0.32), rel=1e-12)
    assert dead[0] == pytest.approx(1.0 - np.exp(-(0.02 * 0.4965853038 + 0.1)), rel=1e-9)


def test_linear_predictor_by_hand() -> None:
    # A fixed plant whose effects are alpha - kappa log TR0, twice the reference time: kappa log 2 more.
    eta = linear_predictor(np.full(BLOCK, -2.0), np.full(BLOCK, 14.0), DRAWS)
    np.testing.assert_allclose(eta, -2.0 + DRAWS.parameters.kappa * 0.6931471805599453)


@pytest.mark.parametrize(
    ("plant", "ratio"),
    [
        (Plant(genus("Anthurium")), 1.35),
        (Plant(genus("Anthurium"), container="carton", seller_kind="exporter"), 1.35 * 0.85 * 0.85),
        # Dry roots kill aroids and suit cacti: the table has a ratio of its own for arid genera.
        (Plant(genus("Anthurium"), roots="dry"), 1.35 * 0.3),
        (Plant(genus("Mammillaria"), roots="dry"), 4 * 1.2),
    ],
)
def test_time_ratio_is_the_product_of_the_tables(plant: Plant, ratio: float) -> None:
    assert np.exp(log_time_ratio(plant, REFERENCE)) == pytest.approx(ratio)


def test_plant_twice_as_lasting_keeps_twice_as_long() -> None:
    """TR0 stretches time: the same eta at twice the days, for every draw and whatever kappa."""
    slow, fast = genus("Chlorophytum"), genus("Impatiens")
    stretch = slow.time_ratio / fast.time_ratio
    without = DRAWS.parameters.kappa * np.log(7.0 * stretch) - DRAWS.parameters.kappa * np.log(7.0)
    offsets = [DRAWS.parameters.kappa * log_time_ratio(Plant(g), REFERENCE) for g in (slow, fast)]
    np.testing.assert_allclose(offsets[0] - offsets[1], without)


def test_marginal_chances_against_dense_integration_over_shipment_and_line() -> None:
    """Integrate the two effects on a grid each, where the code under test adds their variances and uses few nodes."""
    parameters = DRAWS.parameters
    grid = np.linspace(-7.0, 7.0, 141)
    weight = stats.norm.pdf(grid) * (grid[1] - grid[0])
    eta = predictor(Plant(genus("Syngonium")), 22.0, 8.0)
    healthy, dead = MARGINAL(eta)
    for draw in range(0, BLOCK, 16):
        effects = parameters.scales["shipment"][draw] * grid[:, None] + parameters.scales["line"][draw] * grid
        hazard = np.exp(eta[draw] + effects)
        spoilt = parameters.h0[draw]
        dense_healthy = weight @ np.exp(-(spoilt + hazard)) @ weight
        dense_dead = 1.0 - weight @ np.exp(-(spoilt * np.exp(-0.7) + hazard * np.exp(-parameters.delta[draw]))) @ weight
        lost = parameters.lost[draw]
        assert healthy[draw] == pytest.approx((1 - lost) * dense_healthy + lost * 0.01, abs=1e-3)
        assert dead[draw] == pytest.approx((1 - lost) * dense_dead + lost * 0.95, abs=1e-3)


def test_marginal_chances_hold_beside_wide_box_effects() -> None:
    """Against adaptive quadrature, the sd of shipment and line effects together up to 3.5."""
    wide = replace(
        DRAWS.parameters,
        scales={**DRAWS.parameters.scales, "shipment": np.linspace(0.2, 3.5, BLOCK), "line": np.zeros(BLOCK)},
    )
    chances = MarginalChances(replace(DRAWS, parameters=wide))
    eta = np.linspace(-9.0, 5.0, BLOCK)[::-1]
    healthy, dead = chances(eta)
    for draw in range(0, BLOCK, 16):
        sd, spoilt = wide.scales["shipment"][draw], wide.h0[draw]

        def survival(log_hazard: float, sd: float = sd) -> float:
            value, _ = integrate.quad(
                lambda z: np.exp(-np.exp(log_hazard + sd * z)) * stats.norm.pdf(z), -10, 10, limit=200
            )
            return float(value)

        lost = wide.lost[draw]
        of_clock = np.exp(-spoilt) * survival(eta[draw])
        assert healthy[draw] == pytest.approx((1 - lost) * of_clock + lost * 0.01, abs=1e-3)
        without_death = np.exp(-spoilt * np.exp(-0.7)) * survival(eta[draw] - wide.delta[draw])
        assert dead[draw] == pytest.approx((1 - lost) * (1.0 - without_death) + lost * 0.95, abs=1e-3)


SELLERS = (None, "Known", "new")


def test_unknown_genus_is_wider_than_a_named_one() -> None:
    # Of the linear predictor: a chance near its ends narrows whatever is not known.
    unknown = predictor(Plant(None), 20.0, 7.0)
    assert np.std(unknown) > 1.3 * np.std(predictor(Plant(genus("Philodendron")), 20.0, 7.0))


def test_seller_with_a_record_is_narrower_than_an_unnamed_or_new_one() -> None:
    zeros = np.full(BLOCK, 0.0)
    effects: dict[str, dict[Level, Array]] = {"seller": {"known": zeros}, "drift": {("known", 8108): zeros}}
    draws = PosteriorDraws(DRAWS.parameters, DRAWS.late_loss, REFERENCE, DRAWS.key, effects)
    # Of the linear predictor, as above.
    sds = {seller: np.std(predictor(Plant(genus("Anthurium"), seller=seller), 20.0, 7.0, draws)) for seller in SELLERS}
    assert sds[None] > 1.01 * sds["Known"]
    assert sds["new"] > 1.01 * sds["Known"]


def test_same_label_has_the_same_draws_in_every_answer() -> None:
    again = draw_prior_posterior(REFERENCE, BLOCK, seed=3)
    plant = Plant(genus("Hoya"), "Krimson", seller="Somebody")
    np.testing.assert_array_equal(plant_effects(plant, DRAWS), plant_effects(plant, again))
    # Names of sellers and cultivars match whatever their case.
    other_case = Plant(genus("Hoya"), "KRIMSON", seller="somebody")
    np.testing.assert_array_equal(plant_effects(plant, DRAWS), plant_effects(other_case, DRAWS))
    one, other = DRAWS.normals("seller:one"), DRAWS.normals("seller:other")
    # Independent labels: |r| below 0.15 holds for all but 1 in 1,500 pairs of this size.
    assert abs(float(np.corrcoef(one, other)[0, 1])) < 0.15


def test_taken_draws_keep_what_they_had() -> None:
    stored = draw_prior_posterior(REFERENCE, 2 * BLOCK, seed=4)
    plant = Plant(genus("Hoya"), seller="somebody")
    for index in (np.arange(2 * BLOCK)[::-3], np.arange(2600) % (2 * BLOCK), np.arange(BLOCK)):
        taken = stored.take(index)
        eta = predictor(plant, 8.0, 5.0, stored)
        np.testing.assert_array_equal(predictor(plant, 8.0, 5.0, taken), eta[index])
        np.testing.assert_array_equal(taken.late_loss.slope, stored.late_loss.slope[index])
        np.testing.assert_array_equal(predictor(plant, 8.0, 5.0, taken.take(np.arange(7))), eta[index][:7])
    np.testing.assert_array_equal(predictor(plant, 8.0, 5.0, stored.first_block()), eta[:BLOCK])
