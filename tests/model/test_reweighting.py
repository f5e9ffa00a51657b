"""Draws weighed by boxes that came after a fit: against integrals by hand, and what must not move."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import integrate, stats

from model.fit.box_predictive import box_log_likelihoods
from model.fit.lines import LINE_DTYPE, Lines, Observed, observe
from model.fit.reweighting import LEAST_EFFECTIVE, Reweighted, reweight
from model.plant.plant import UNNAMED
from model.predict.evidence import BoxCounts, LevelCounts
from model.predict.predict import PosteriorDraws, box_chances, draw_prior_posterior
from model.predict.resampled import added_counts, resampled_draws, with_levels
from model.reference.tables import load_reference

N = 4096
REFERENCE = load_reference()
Cell = tuple[str, str | None, str | None, int, list[float]]


@pytest.fixture(scope="module")
def draws() -> PosteriorDraws:
    return draw_prior_posterior(REFERENCE, N, seed=3)


def seen(*boxes: Cell, days: float = 6.0) -> Observed:
    """Return boxes of one line at constant 20 °C: shipment, genus, seller, quarter and counts of each."""
    lines: Lines = np.empty(len(boxes), dtype=LINE_DTYPE)
    for row, (shipment, genus, seller, quarter, _) in zip(lines, boxes, strict=True):
        plant = (shipment, genus, None, "foam_box", "damp_wrap", "courier", None, seller, quarter)
        for name, cell in zip(LINE_DTYPE.names or (), plant, strict=False):
            row[name] = cell
        row["log_days"], row["log_days_variance"] = np.log(days), 0.0
    return observe(lines, np.array([counts for *_, counts in boxes]), REFERENCE)


GOOD, POOR, BAD = [20.0, 0.0, 0.0, 20.0], [12.0, 4.0, 4.0, 20.0], [2.0, 3.0, 15.0, 20.0]


def test_the_likelihood_of_a_box_is_the_integral_over_its_effects(draws: PosteriorDraws) -> None:
    """One line: shipment and line effects add to one normal, and scipy integrates the multinomial over it."""
    observed = seen(("a", "Hoya", "one", 3, POOR))
    some = draws.take(np.arange(0, N, 512))
    told = box_log_likelihoods(observed, some)[:, 0]
    rough = box_log_likelihoods(observed, some, for_weights=True)[:, 0]
    p, sd = some.parameters, some.box_sd()
    plant = observed.plants[0]
    named = [(kind, level) for kind, level in plant.levels.items() if level is not None and kind != "drift"]
    eta = p.alpha + sum(some.effect(kind, level) for kind, level in named) + some.drift("one", 3)
    genus = REFERENCE.genera["Hoya"]
    eta = eta + p.kappa * (np.log(6.0 / 7.0) - np.log(genus.time_ratio))

    def by_scipy(i: int) -> float:
        effect = np.linspace(-12.0, 12.0, 40_001) * sd[i]
        healthy, dead = box_chances(eta[i] + effect, p.delta[i], p.h0[i])
        chances = np.stack([healthy, np.maximum(1.0 - healthy - dead, 0.0), dead], axis=1)
        pmf = stats.multinomial.pmf(POOR[:3], 20, chances / chances.sum(axis=1, keepdims=True))
        of_clock = integrate.trapezoid(pmf * stats.norm.pdf(effect, scale=sd[i]), effect)
        lost_whole = stats.multinomial.pmf(POOR[:3], 20, [0.01, 0.04, 0.95])
        return float(np.log((1.0 - p.lost[i]) * of_clock + p.lost[i] * lost_whole))

    expected = np.array([by_scipy(i) for i in range(some.n_draws)])
    # Nine nodes err by more where the counts lie far out in the tail of a draw, which then has no weight.
    counts = expected > expected.max() - 10.0
    assert counts.sum() > some.n_draws // 2 - 2
    np.testing.assert_allclose(told[counts], expected[counts], atol=0.02)
    np.testing.assert_allclose(rough[counts], expected[counts], atol=0.05)
    np.testing.assert_allclose(told, expected, atol=0.1)


def test_a_bad_box_makes_its_seller_worse_and_a_good_one_better(draws: PosteriorDraws) -> None:
    effects = []
    for counts in (GOOD, POOR):
        weighed = reweight(seen(("a", "Hoya", "One", 3, counts)), draws)
        assert weighed.is_enough
        new = resampled_draws(draws, with_levels(draws, weighed.levels), weighed.index(draws.key, N))
        effects.append(new.effect("seller", "one"))
        assert new.drift("one", 3) is new.effects["drift"]["one", 3]
    prior = draws.effect("seller", "one")
    assert effects[0].mean() < prior.mean() < effects[1].mean()


def test_an_unnamed_seller_is_another_one_in_each_box_and_stays_unknown(draws: PosteriorDraws) -> None:
    bad = [(name, "Nowhere", None, -1, BAD) for name in "abc"]
    weighed = reweight(seen(*bad), draws)
    new = resampled_draws(draws, with_levels(draws, weighed.levels), weighed.index(draws.key, N))
    assert weighed.levels["seller"] == weighed.levels["genus"] == ()
    for kind in ("seller", "genus", "cultivar"):
        own, before = new.effect(kind, UNNAMED), draws.effect(kind, UNNAMED)
        scale = 1.0 if kind != "genus" else np.median(draws.parameters.scales["genus_multiplier"])
        assert abs(own.mean() - before.mean()) < 0.1 * max(scale, own.std())
    # What the boxes have in common is learned all the same.
    assert new.parameters.alpha.mean() > draws.parameters.alpha.mean()
    one_seller = reweight(seen(*[(name, "Nowhere", "the same", -1, BAD) for name in "abc"]), draws)
    assert not np.allclose(one_seller.log_weights, weighed.log_weights, atol=0.1)


def test_what_no_box_bears_on_keeps_its_draws_in_their_places(draws: PosteriorDraws) -> None:
    weighed = reweight(seen(("a", "Hoya", "one", 3, BAD)), draws)
    new = resampled_draws(draws, with_levels(draws, weighed.levels), weighed.index(draws.key, N))
    np.testing.assert_array_equal(new.normals("genus:Alocasia"), draws.normals("genus:Alocasia"))
    np.testing.assert_array_equal(new.late_loss.slope, draws.late_loss.slope)
    assert "Alocasia" not in new.effects["genus"]


def test_two_boxes_weigh_as_one_after_the_other(draws: PosteriorDraws) -> None:
    """Weights multiply: so do likelihoods of boxes, given all that they share."""
    a, b = ("a", "Hoya", "one", 3, POOR), ("b", "Aglaonema", "two", 4, GOOD)
    both = box_log_likelihoods(seen(a, b), draws)
    for column, alone in enumerate((seen(a), seen(b))):
        np.testing.assert_allclose(both[:, [column]], box_log_likelihoods(alone, draws), atol=1e-3)


def test_resampling_keeps_draws_in_place_and_copies_by_weight() -> None:
    n = 1000
    rng = np.random.default_rng(1)
    weights = rng.gamma(0.5, size=n)
    weights /= weights.sum()
    weighed = Reweighted(np.log(weights), n, 0.0, {})
    index = weighed.index(7, n)
    copies = np.bincount(index, minlength=n)
    assert copies.sum() == n
    # Systematic resampling: each draw as often as its weight says, rounded up or down.
    assert (np.abs(copies - n * weights) < 1.0 + 1e-9).all()
    kept = np.flatnonzero(copies)
    np.testing.assert_array_equal(index[kept], kept)
    np.testing.assert_array_equal(index, weighed.index(7, n))
    assert (index != weighed.index(8, n)).any()


def test_a_larger_pool_fills_the_places_of_those_that_are_not_kept() -> None:
    """Weights 0.25 each for draw 1, in a place, and draws 5, 6 and 7, which have none: one copy each."""
    weights = np.array([0.0, 0.25, 0.0, 0.0, 0.0, 0.25, 0.25, 0.25])
    with np.errstate(divide="ignore"):
        index = Reweighted(np.log(weights), 4, 0.0, {}).index(3, 4)
    assert index[1] == 1
    assert sorted(index.tolist()) == [1, 5, 6, 7]


def test_equal_weights_change_nothing() -> None:
    np.testing.assert_array_equal(Reweighted(np.full(512, -np.log(512)), 512, 0.0, {}).index(1, 512), np.arange(512))


def test_copies_of_a_draw_count_as_one(draws: PosteriorDraws) -> None:
    """A fit of which 60 weighted draws count has no more than those, however often each was drawn."""
    copied = replace(draws, parameters=draws.parameters.take(np.arange(N) % 60))
    weighed = reweight(seen(("a", "Hoya", "one", 3, GOOD)), copied)
    assert weighed.effective <= 60
    assert not weighed.is_enough


def test_boxes_that_say_too_much_are_refused(draws: PosteriorDraws) -> None:
    boxes: list[Cell] = [(f"{i:02d}", "Hoya", f"seller {i % 3}", i % 4, BAD) for i in range(30)]
    weighed = reweight(seen(*boxes), draws)
    assert weighed.effective < LEAST_EFFECTIVE
    assert not weighed.is_enough


def test_new_quarters_of_a_new_seller_follow_each_other(draws: PosteriorDraws) -> None:
    """An AR(1) with correlation 0.8 a quarter (model/reference/constants.csv), so 0.8 and 0.64."""
    new = with_levels(draws, {"drift": (("one", 5), ("one", 3), ("one", 4))})
    states = np.stack([new.effects["drift"]["one", quarter] for quarter in (3, 4, 5)])
    correlation = np.asarray(np.corrcoef(states / draws.parameters.scales["drift"]))
    assert correlation[0, 1] == pytest.approx(0.8, abs=0.03)
    assert correlation[1, 2] == pytest.approx(0.8, abs=0.03)
    assert correlation[0, 2] == pytest.approx(0.64, abs=0.04)
    np.testing.assert_allclose((states / draws.parameters.scales["drift"]).std(axis=1), 1.0, atol=0.04)


def counts(genera: tuple[str, ...], sellers: tuple[str, ...], boxes: list[int], plants: list[int]) -> BoxCounts:
    """Return counts of boxes with one genus from one seller each."""
    levels = dict.fromkeys(("group", "cultivar", "container", "roots", "service", "seller_kind", "drift"), ())
    own = LevelCounts(np.array(boxes), np.array(plants))
    none = LevelCounts(np.empty(0, dtype=int), np.empty(0, dtype=int))
    return BoxCounts(
        n_boxes=sum(boxes),
        n_plants=sum(plants),
        levels={**levels, "genus": genera, "seller": sellers},
        by_level={**dict.fromkeys(levels, none), "genus": own, "seller": own},
        genus=np.arange(len(genera)),
        seller=np.arange(len(sellers)),
        pairs=own,
    )


def test_boxes_and_plants_behind_two_sets_add_up() -> None:
    total = added_counts(
        counts(("Hoya", "Aglaonema"), ("one", "two"), [2, 3], [20, 30]),
        counts(("Alocasia", "Hoya"), ("three", "one"), [1, 4], [5, 40]),
    )
    assert (total.n_boxes, total.n_plants) == (10, 95)
    assert total.of_level("genus", "Hoya") == (6, 60)
    assert total.of_level("seller", "three") == (1, 5)
    assert (total.genus.dtype, len(total.genus)) == (np.dtype(int), 3)
    known = {
        (total.levels["genus"][g], total.levels["seller"][s]) for g, s in zip(total.genus, total.seller, strict=True)
    }
    assert known == {("Hoya", "one"), ("Aglaonema", "two"), ("Alocasia", "three")}
