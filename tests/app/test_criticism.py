"""What a fit is asked about itself: replicated boxes against what is planted, its words, and where it is kept."""

import hashlib
import json
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from app.learned.criticism import criticism, rest_words
from app.learned.model_page import answer_model
from app.learning.criticism import left_out_scores, predictive_checks
from app.schemas import RestsOnAnswer
from app.serving.artifacts import from_artefact
from app.serving.criticism import PredictiveCheck
from app.serving.engine import Engine, rules_draws
from app.serving.manifest import ArtefactError, Manifest
from model.fit.lines import Observed, observe
from model.fit.replicates import replicated_counts
from model.fit.strays import RATES
from model.plant.plant import KINDS
from model.predict.predict import MarginalChances, PosteriorDraws, plant_effects
from model.prior.priors import ParameterDraws
from model.reference.tables import load_reference
from model.scoring.predictive_checks import predictive_check
from model.synthetic import Truth, counts_of, draw_counts, draw_design, draw_truth
from tests.app.fits import fitted, fitted_engine, likely_ledger
from tests.model.ledgers import table

REFERENCE = load_reference()
N_BOXES, DRAWS = 32, 512
SHIPPED = np.datetime64("2025-01-15") + np.timedelta64(91, "D") * (np.arange(N_BOXES) % 4)
"""Eight boxes in each quarter of the year."""
LIKELY = likely_ledger(30, 5)
RIGHT = RATES._replace(box=0.0, line=0.0)
"""No record is wrong."""


def same_draws(truth: Truth, observed: Observed) -> PosteriorDraws:
    """Return draws that are all the truth."""

    def same(value: float) -> np.ndarray:
        return np.full(DRAWS, value)

    names = ("alpha", "kappa", "delta", "log_q10", "chill_rate", "h0", "lost")
    parameters = ParameterDraws(
        **{name: same(truth.parameters[name]) for name in names},
        scales={name: same(value) for name, value in truth.scales.items()},
        n_replaced=0,
    )
    levels = observed.observations.levels
    effects = {
        kind: {level: same(value) for level, value in zip(levels[kind], truth.effects[kind], strict=True)}
        for kind in KINDS
    }
    return replace(rules_draws(REFERENCE), parameters=parameters, effects=effects)


def invented(seed: int, *, harm: float = 0.0) -> list[PredictiveCheck]:
    """Return the checks by the truth of an invented ledger.

    In the first quarter of the year log hazards are higher by `harm`, which the truth does not know of.
    """
    design = draw_design(REFERENCE, N_BOXES, rng=np.random.default_rng([seed, 0]), lines_a_box=2)
    truth = draw_truth(REFERENCE, design.observations, rng=np.random.default_rng([seed, 1]))
    winter = (np.arange(N_BOXES) % 4 == 0)[design.observations.box]
    harmed = replace(design.observations, log_time_ratio=design.observations.log_time_ratio - np.where(winter, harm, 0))
    counts = counts_of(draw_counts(harmed, truth, rng=np.random.default_rng([seed, 2])))
    observed = observe(design.lines, counts, REFERENCE)
    return predictive_checks(observed, SHIPPED, same_draws(truth, observed))


def test_right_boxes_look_odd_about_as_often_as_they_should() -> None:
    """One in twenty in the outer 5 %, half in the outer half: within what chance allows in 99.8 % of such tests."""
    found = [invented(seed) for seed in range(16)]
    below = np.array([check.below for checks in found for check in checks])
    n = len(below)
    assert n > 8 * len(found)  # boxes lost, four quarters and the sellers of each
    # Checks of one ledger share its boxes: counted as if a third of them were independent.
    for beyond, share in ((0.025, 0.05), (0.25, 0.5)):
        low, high = np.asarray(stats.binom.ppf([0.001, 0.999], n // 3, share)) / (n // 3)
        assert low <= ((below < beyond) | (below > 1.0 - beyond)).mean() <= high


def test_a_season_that_kills_is_found() -> None:
    """Plants keep a third as long there: in most ledgers the season is odd, and on the side of fewer."""
    found = [invented(seed, harm=float(np.log(3.0))) for seed in range(8)]
    winters = [check for checks in found for check in checks if check.level == "01-03"]
    assert len(winters) == len(found)
    assert sum(check.below < 0.025 for check in winters) >= len(found) / 2
    assert all(check.below < 0.5 for check in winters)


def test_replicates_have_the_share_healthy_that_the_chances_say() -> None:
    """The chances are averages over quadrature nodes; records that are wrong are left out of both."""
    lines = table([f"box {i}" for i in range(20)], np.full(20, 7.0))
    lines["consignment"] = None
    draws = rules_draws(REFERENCE)
    observed = observe(lines, np.tile([5.0, 3.0, 2.0, 10.0], (20, 1)), REFERENCE)
    runs = replicated_counts(observed, draws, wrong=RIGHT, rng=np.random.default_rng(3))
    healthy, dead = (np.concatenate(part) for part in zip(*runs, strict=True))
    # At 20 °C seven days are seven equivalent days.
    chances = MarginalChances(draws)(plant_effects(observed.plants[0], draws))
    assert healthy.mean() / 10 == pytest.approx(chances[0].mean(), abs=3e-3)
    assert dead.mean() / 10 == pytest.approx(chances[1].mean(), abs=3e-3)


def test_lines_of_a_box_share_its_luck_in_replicates() -> None:
    lines = table(["one", "one", "two"], np.full(3, 7.0), genus=["Hoya", "Anthurium", "Anthurium"], seller=None)
    lines["consignment"] = None
    one = rules_draws(REFERENCE).take(np.zeros(2000, dtype=np.intp))  # the same truth each time
    draws = replace(one, parameters=replace(one.parameters, lost=np.zeros(2000)))
    observed = observe(lines, np.tile([5.0, 3.0, 2.0, 10.0], (3, 1)), REFERENCE)
    [again] = replicated_counts(observed, draws, wrong=RIGHT, rng=np.random.default_rng(4))
    first, beside, elsewhere = again.healthy.T
    assert stats.pearsonr(first, beside).statistic > 0.2
    assert abs(stats.pearsonr(beside, elsewhere).statistic) < 0.1


def test_a_number_among_its_replicates() -> None:
    check = predictive_check(3.0, np.array([1.0, 2.0, 3.0, 3.0, 4.0]))
    assert check.below == pytest.approx(0.4 + 0.5 * 0.4)
    assert not check.is_extreme
    assert predictive_check(9.0, np.arange(8.0)).is_extreme


def test_scores_are_told_in_all_and_of_the_boxes_furthest_apart() -> None:
    scores, rules = np.array([-1.0, -2.0, -3.0]), np.array([-1.5, -5.0, -2.9])
    told = left_out_scores(scores, rules, ["a", "b", "c"])
    assert (told.boxes, told.better, told.score) == (3, 2, -6.0)
    assert told.rules == pytest.approx(-9.4)
    assert told.difference == pytest.approx(3.4 / 3)
    assert told.standard_error == pytest.approx(np.std([0.5, 3.0, -0.1], ddof=1) / np.sqrt(3))
    assert [box.shipment for box in told.by_box] == ["b", "a", "c"]


def rests(kind: str, label: str, on: str, shift: float = 0.0, boxes: int | None = None) -> RestsOnAnswer:
    return RestsOnAnswer.model_validate(
        {
            "kind": kind, "label": label, "boxes": boxes, "prior": 0.1, "likelihood": 0.1, "prior_shift": shift,
            "likelihood_shift": -shift, "on": on,
        }
    )  # fmt: skip


def test_what_rests_on_what_is_said_in_plain_words() -> None:
    """Where the tables pull a time ratio down, the boxes say that it is longer."""
    assert rest_words([rests("genus", "Alocasia", "rules", boxes=2)]) == [
        "What you are told of Alocasia rests on the tables rather than on your 2 boxes."
    ]
    said = rest_words(
        [
            rests("genus", "Hoya", "conflict", -0.4, 9),
            rests("genus", "Begonia", "conflict", 0.4, 3),
            rests("genus", "Alocasia", "conflict", 0.4, 12),
            rests("kappa", "how fast losses climb with days", "neither"),
            rests("seller", "Invented Ferns", "boxes", boxes=20),
        ]
    )
    assert said == [
        "Your boxes say that Hoya keeps longer than by the tables; told is what lies between.",
        "Your boxes say that Alocasia (12 boxes) and Begonia (3 boxes) keep less long than by the tables; told is what "
        "lies between.",
        "Your boxes decide: Invented Ferns.",
    ]


def test_the_model_page_tells_it_of_a_fit_and_nothing_of_the_rules() -> None:
    engine = fitted_engine(LIKELY)
    told = answer_model(engine).criticism
    assert told is not None
    assert {"no_survivor", "seller"} <= {check.about for check in told.checks}
    names = {(one.kind, one.label) for one in told.rests}
    assert ("healthy", "the chance to arrive healthy after 7 days") in names
    assert ("kappa", "how fast losses climb with days") in names
    assert {label for kind, label in names if kind == "genus"} == {
        str(level) for level in fitted(LIKELY)[0].counts.levels["genus"]
    }
    assert len(told.text) >= 2
    assert criticism(Engine.load()) is None


def test_artefacts_from_before_there_was_any_are_read_and_others_are_looked_at() -> None:
    model, arrays = fitted(LIKELY)
    before = json.loads(model.manifest.model_dump_json(exclude={"criticism"}))
    # Sealed as it was then: the manifest but for its hash, its length before it, and the arrays.
    own = json.dumps({k: v for k, v in before.items() if k != "sha256"}, separators=(",", ":"), ensure_ascii=False)
    before["sha256"] = hashlib.sha256(b"%d\n%b%b" % (len(own.encode()), own.encode(), arrays)).hexdigest()
    old = from_artefact(json.dumps(before), arrays, REFERENCE)
    assert old.manifest.criticism is None
    assert criticism(Engine.of("old", old)) is None
    found = json.loads(model.manifest.model_dump_json())
    found["criticism"]["rests"][-1] |= {"kind": "seller", "level": "nobody's"}
    forged = Manifest.model_validate(found).sealed(arrays).model_dump_json()
    with pytest.raises(ArtefactError, match="criticism names a level that the fit does not have"):
        from_artefact(forged, arrays, REFERENCE)
