"""TransitSurvival: the scikit-learn contract, its attributes, and scores against sums written out."""

import numpy as np
import pytest
from scipy import stats
from sklearn.base import clone
from sklearn.exceptions import NotFittedError
from sklearn.model_selection import GroupKFold, cross_val_score

from model.exposure.table import Array
from model.fit.box_predictive import SCORING_DRAWS, described, line_predictors
from model.fit.hierarchy import OUTER
from model.fit.lines import Lines
from model.fit.survival import TransitSurvival
from model.plant.plant import UNNAMED, Plant
from model.predict.predict import PosteriorDraws, genus_effects
from model.reference.tables import ARID_GROUPS
from model.synthetic import counts_of, draw_counts, draw_design, draw_truth
from tests.model.ledgers import LOG_REFERENCE_DAYS, NAN, REFERENCE, table

N_BOXES = 24
DESIGN = draw_design(REFERENCE, N_BOXES, rng=np.random.default_rng(61), n_genera=4, n_sellers=2)
TRUTH = draw_truth(REFERENCE, DESIGN.observations, rng=np.random.default_rng(62))
LINES: Lines = DESIGN.lines
COUNTS = counts_of(draw_counts(DESIGN.observations, TRUTH, rng=np.random.default_rng(63)))


def estimator(random_state: int = 7) -> TransitSurvival:
    return TransitSurvival(REFERENCE, n_draws=1024, n_weighed=1024, random_state=random_state)


@pytest.fixture(scope="module")
def model() -> TransitSurvival:
    unfitted = estimator()
    fitted = unfitted.fit(LINES, COUNTS)
    assert fitted is unfitted
    return fitted


def test_parameters_are_stored_and_cloned() -> None:
    original = TransitSurvival(REFERENCE, n_draws=300, n_weighed=512, random_state=3, strays=None)
    names = {"reference", "n_draws", "n_weighed", "random_state", "strays"}
    assert set(original.get_params()) == names
    copy = clone(original)
    assert copy is not original
    assert {name: copy.get_params()[name] for name in names - {"reference"}} == {
        "n_draws": 300,
        "n_weighed": 512,
        "random_state": 3,
        "strays": None,
    }
    assert original.set_params(n_draws=20).n_draws == 20
    assert not [name for name in vars(original) if name.endswith("_")]


def test_a_fit_sets_its_attributes(model: TransitSurvival) -> None:
    fitted = model
    assert (fitted.n_boxes_, fitted.n_lines_) == (N_BOXES, len(LINES))
    assert isinstance(fitted.draws_, PosteriorDraws)
    assert fitted.draws_.n_draws == 1024
    assert len(fitted.posterior_.x) % 1024 == 0
    assert fitted.posterior_.x.shape[1] == fitted.hierarchy_.n_inner
    assert set(fitted.diagnostics_) == {
        "effective_draws", "enough_draws", "pareto_k", "kappa_draws_replaced", "newton_steps", "outer_steps",
        "by_clock_alone", "moves",
    }  # fmt: skip
    assert fitted.diagnostics_["enough_draws"] == (
        fitted.diagnostics_["effective_draws"] >= 400 and fitted.diagnostics_["pareto_k"] < 0.7
    )


@pytest.mark.parametrize("method", ["predict_proba", "log_predictive", "score"])
def test_before_a_fit_there_is_nothing_to_predict_from(method: str) -> None:
    arguments = (LINES,) if method == "predict_proba" else (LINES, COUNTS)
    with pytest.raises(NotFittedError):
        getattr(estimator(), method)(*arguments)


def test_the_random_state_makes_the_fit(model: TransitSurvival) -> None:
    again, other = estimator().fit(LINES, COUNTS), estimator(8).fit(LINES, COUNTS)
    np.testing.assert_array_equal(again.predict_proba(LINES), model.predict_proba(LINES))
    np.testing.assert_array_equal(again.draws_.parameters.alpha, model.draws_.parameters.alpha)
    assert not np.array_equal(other.draws_.parameters.alpha, model.draws_.parameters.alpha)
    np.testing.assert_allclose(other.predict_proba(LINES), model.predict_proba(LINES), atol=0.05)


def test_cross_validation_leaves_whole_shipments_out() -> None:
    """Its scores are those of fits and scores by hand."""
    groups = LINES["shipment"].astype(str)
    folds = GroupKFold(n_splits=3)
    scores = cross_val_score(estimator(), LINES, COUNTS, groups=groups, cv=folds)
    train, test = next(folds.split(LINES, COUNTS, groups))
    assert not set(groups[train]) & set(groups[test])
    assert np.isfinite(scores).all()
    assert scores[0] == estimator().fit(LINES[train], COUNTS[train]).score(LINES[test], COUNTS[test])


def test_chances_add_to_one_and_fall_with_days(model: TransitSurvival) -> None:
    trips = table(["x"] * 5, np.array([1.0, 4.0, 8.0, 15.0, 30.0]), genus=str(LINES["genus"][0]))
    chances = model.predict_proba(trips)
    assert ((chances >= 0.0) & (chances <= 1.0)).all()
    np.testing.assert_allclose(chances.sum(axis=1), 1.0, atol=1e-12)
    assert (np.diff(chances[:, 0]) < 0).all()
    assert (np.diff(chances[:, 2]) > 0).all()


def test_a_score_is_the_mean_of_the_boxes(model: TransitSurvival) -> None:
    by_box = model.log_predictive(LINES, COUNTS)
    assert by_box.shape == (N_BOXES,)
    assert (by_box < 0.0).all()
    assert model.score(LINES, COUNTS) == by_box.mean()


def test_boxes_are_scored_by_name_whatever_the_order_of_lines(model: TransitSurvival) -> None:
    order = np.random.default_rng(1).permutation(len(LINES))
    np.testing.assert_allclose(
        model.log_predictive(LINES[order], COUNTS[order]), model.log_predictive(LINES, COUNTS), atol=1e-5
    )


# Healthy, damaged, dead in a box lost whole, by constants.csv.
LOST = (0.01, 0.04, 0.95)


def brute_force(model: TransitSurvival, lines: Lines, counts: Array, *, variance: float) -> float:
    """Return the log mean over the scoring draws of one box's probability, by sums over grids of both effects."""
    draws = model.draws_.take(np.arange(SCORING_DRAWS))
    parameters = draws.parameters
    units = np.linspace(-6.0, 6.0, 61)
    weight = stats.norm.pdf(units)
    weight = weight / weight.sum()
    effects = parameters.alpha.copy()
    for kind in ("service", "seller_kind"):
        effects += draws.effect(kind, UNNAMED)
    seller = str(lines["seller"][0])
    effects += draws.effect("seller", seller.casefold())
    box_sd = np.sqrt(parameters.scales["shipment"] ** 2 + parameters.kappa**2 * variance)
    of_box, lost_whole = np.ones((SCORING_DRAWS, len(units))), 1.0
    for line, (healthy, damaged, dead, sent) in zip(lines, counts, strict=True):
        genus = REFERENCE.genera[line["genus"]]
        own = effects + genus_effects(Plant(genus), draws) + draws.drift(seller.casefold(), int(line["quarter"]))
        # At 20 °C equivalent days are days, whatever Q10.
        log_days = line["log_days"][0, 0] - LOG_REFERENCE_DAYS - np.log(genus.time_ratio)
        eta = (own + parameters.kappa * log_days)[:, None, None] + (box_sd[:, None] * units)[:, :, None]
        hazard = np.exp(eta + (parameters.scales["line"][:, None] * units)[:, None, :])
        h0, delta = parameters.h0[:, None, None], parameters.delta[:, None, None]
        p_healthy, p_dead = np.exp(-h0 - hazard), -np.expm1(-h0 * np.exp(-0.7) - hazard * np.exp(-delta))
        if np.isnan(healthy):
            mass = stats.binom(int(sent), p_dead).pmf(dead)
            lost_whole *= stats.binom(int(sent), LOST[2]).pmf(dead)
        else:
            chances = np.stack([p_healthy, 1.0 - p_healthy - p_dead, p_dead], axis=-1)
            mass = stats.multinomial(int(sent), chances).pmf([healthy, damaged, dead])
            lost_whole *= stats.multinomial(int(sent), LOST).pmf([healthy, damaged, dead])
        of_box *= mass @ weight
    by_draw = (1.0 - parameters.lost) * (of_box @ weight) + parameters.lost * lost_whole
    return float(np.log(by_draw.mean()))


@pytest.mark.parametrize("variance", [0.0, 0.02])
def test_a_score_is_the_probability_of_the_counts_summed_over_grids(model: TransitSurvival, variance: float) -> None:
    """A box of two lines and one of a single line of which only alive / dead is known."""
    groups = {str(name): REFERENCE.genera[str(name)].group for name in model.hierarchy_.levels["genus"]}
    names = [name for name, group in groups.items() if group not in ARID_GROUPS]  # whose roots like damp wrap
    seller = str(model.hierarchy_.levels["seller"][0])
    lines = table(["a", "a", "b"], np.array([5.0, 5.0, 9.0]), genus=[names[0], names[1], names[0]], seller=seller)
    lines["log_days_variance"] = variance
    counts = np.array([(6.0, 2, 1, 9), (3, 0, 2, 5), (NAN, NAN, 2, 6)])
    found = model.log_predictive(lines, counts)
    for box, rows in enumerate((slice(0, 2), slice(2, 3))):
        assert found[box] == pytest.approx(brute_force(model, lines[rows], counts[rows], variance=variance), abs=5e-3)


def test_probabilities_of_all_counts_of_a_box_add_to_one(model: TransitSurvival) -> None:
    """Two lines of two plants each: 36 outcomes, each a box of its own with the same plants."""
    states = [(h, m, 2.0 - h - m, 2.0) for h in (0.0, 1.0, 2.0) for m in (0.0, 1.0, 2.0) if h + m <= 2.0]
    counts = np.array([row for first in states for second in states for row in (first, second)])
    boxes = [f"box {i // 2:02d}" for i in range(len(counts))]
    lines = table(boxes, np.full(len(counts), 6.0))
    lines["quarter"] = 8100
    assert np.exp(model.log_predictive(lines, counts)).sum() == pytest.approx(1.0, abs=2e-3)


def spread_of_eta(model: TransitSurvival, lines: Lines) -> Array:
    """Return the sd over draws of each line's log hazard without box effects."""
    return np.array([row.eta.std() for row in line_predictors(*described(lines, model.draws_.reference), model.draws_)])


def test_what_is_new_or_not_named_is_answered_more_widely(model: TransitSurvival) -> None:
    """The same trip: a seller with boxes against a new and an unnamed one; a genus with boxes against one without."""
    counted = {str(name): int((LINES["genus"] == name).sum()) for name in set(LINES["genus"])}
    seen = max(counted, key=lambda name: counted[name])
    unseen = next(
        name
        for name, row in sorted(REFERENCE.genera.items())
        if name not in counted and row.time_ratio_sd_log >= REFERENCE.genera[seen].time_ratio_sd_log
    )
    sellers = ["seller 0", "seller 99", None, "seller 0", "seller 0"]
    lines = table(["x"] * 5, np.full(5, 6.0), genus=[seen, seen, seen, unseen, "Nonesuch"])
    lines["seller"], lines["quarter"] = sellers, 5
    known, new_seller, no_seller, new_genus, no_genus = spread_of_eta(model, lines)
    assert min(new_seller, no_seller) > 1.05 * known
    assert min(new_genus, no_genus) > 1.2 * known


def test_weights_multiply_counts(model: TransitSurvival) -> None:
    """A weight of two is the same as twice the counts, and of one as none."""
    heavy = estimator().fit(LINES, COUNTS, sample_weight=np.full(len(LINES), 2.0))
    double, plain = estimator().fit(LINES, 2.0 * COUNTS), model
    np.testing.assert_array_equal(heavy.draws_.parameters.kappa, double.draws_.parameters.kappa)
    ones = estimator().fit(LINES, COUNTS, sample_weight=np.ones(len(LINES)))
    np.testing.assert_array_equal(ones.draws_.parameters.kappa, plain.draws_.parameters.kappa)
    assert not np.array_equal(heavy.draws_.parameters.kappa, plain.draws_.parameters.kappa)


def test_a_fit_may_be_repeated_on_later_boxes(model: TransitSurvival) -> None:
    """Nothing of the first fit is left: the second is that of a new estimator."""
    reused = estimator().fit(LINES[:30], COUNTS[:30])
    np.testing.assert_array_equal(reused.fit(LINES, COUNTS).predict_proba(LINES[:5]), model.predict_proba(LINES[:5]))
    assert reused.n_boxes_ == N_BOXES


def test_resampled_draws_are_the_weighted_ones(model: TransitSurvival) -> None:
    """Their means are the weighted means, to the error that resampling leaves."""
    w = np.exp(model.posterior_.log_weights)
    for found, weighted in (
        (model.draws_.parameters.alpha, model.posterior_.x[:, 0]),
        (model.draws_.parameters.kappa, model.posterior_.x[:, 1]),
        (np.log(model.draws_.parameters.h0), model.posterior_.theta[:, OUTER.index("h0")]),
    ):
        mean = w @ weighted
        sd = float(np.sqrt(w @ (weighted - mean) ** 2))
        assert found.mean() == pytest.approx(mean, abs=3.0 * sd / np.sqrt(len(found)))
        assert set(found.round(9)) <= set(weighted.round(9))
