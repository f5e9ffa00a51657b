"""What it is worth to know something before an order: against nested Monte Carlo, and what is said of it."""

import json
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from scipy import stats

from app.batch.batch import prepare
from app.comparing.money import route_money
from app.comparing.simulated import SimulatedBatch
from app.comparing.worth_knowing import answer_worth_knowing
from app.schemas.worth_knowing import Known, Learned, WorthKnowingAnswer, WorthKnowingRequest
from app.serving.engine import Engine
from model.plant import Level
from tests.app.batches import (
    BATCH,
    CARGO,
    COURIER,
    EVERY_DAY,
    MONDAY,
    Fields,
    compare,
    compare_request,
    engine,
    fixed,
    line,
)

QUARTER = 4 * 2027
QUICK: Fields = COURIER | {"transit_days": fixed(7.0)}


def worth_knowing(of: Engine | None = None, **fields: Any) -> WorthKnowingAnswer:
    body = {"ship_date": MONDAY} | BATCH | fields
    return answer_worth_knowing(WorthKnowingRequest.model_validate_json(json.dumps(body)), of or engine())


@cache
def usual() -> WorthKnowingAnswer:
    return worth_knowing(draws=4096)


def known(answer: WorthKnowingAnswer, code: str) -> Known:
    return next(one for one in answer.known if one.code == code)


def learned(answer: WorthKnowingAnswer, code: str, genus: str | None = None) -> Learned:
    return next(one for one in answer.learned if (one.code, one.genus) == (code, genus))


def with_seller(effect: np.ndarray) -> Engine:
    """Return the rules of thumb with a seller of these effects, and none of its kind and quarter beside."""
    nothing = np.zeros_like(effect)
    effects: dict[str, dict[Level, np.ndarray]] = {
        "seller": {"x": effect},
        "seller_kind": {"grower": nothing},
        "drift": {("x", QUARTER): nothing},
    }
    return Engine("made up", engine().reference, replace(engine().draws, effects=effects))


def test_knowing_the_seller_agrees_with_nested_monte_carlo() -> None:
    """Outer: 16 equally likely effects of the seller; inner: the margins with each, on journeys that are all alike.

    One route, which is hardly worth its cost.
    """
    asked = {
        "seller": "X", "seller_kind": "grower", "routes": [QUICK], "draws": 4096, "risk": {"max_loss_share": 1.0},
        "lines": [line("Aglaonema", 18, sale_value=28)], **EVERY_DAY,
    }  # fmt: skip
    scores, request = stats.norm.ppf((np.arange(16) + 0.5) / 16), compare_request(**asked)
    prepared = prepare(request, engine(), request.ship_date)
    [route] = prepared.routes
    batches = [SimulatedBatch(request, prepared, with_seller(np.full(4096, score))) for score in scores]
    journeys, inner = batches[0].journeys(route), []
    for batch in batches:
        drawn = batch.simulation.outcomes(route.plan, journeys)
        inner.append(route_money(request, prepared, route, drawn).margin.mean())
    nested = np.maximum(inner, 0.0).mean() - max(np.mean(inner), 0.0)
    effects = stats.norm.ppf((np.arange(4096) + 0.5) / 4096)
    found = known(worth_knowing(with_seller(np.random.default_rng(1).permutation(effects)), **asked), "seller")
    assert found.clear
    assert found.worth == pytest.approx(nested, abs=3 * found.standard_error)


def test_nothing_is_worth_more_than_everything() -> None:
    answer = usual()
    assert answer.everything.clear
    assert all(one.worth <= answer.everything.worth for one in (*answer.known, *answer.learned))
    assert [one.code for one in answer.known if one.clear][:1] == ["transit_time"]
    assert [one.worth for one in answer.known] == sorted((one.worth for one in answer.known), reverse=True)
    assert {one.genus for one in answer.known if one.code == "genus"} == {"Aglaonema", "Hoya"}
    shares = [one.spread_share for one in answer.known]
    assert 0.5 < sum(shares) < 1.05
    # What asking tells is part of what could be known.
    asking = learned(answer, "ask_last_boxes")
    assert asking.worth + asking.standard_error < known(answer, "transit_time").worth


def test_the_order_of_routes_does_not_matter() -> None:
    turned = worth_knowing(draws=4096, routes=[CARGO, COURIER])
    assert [(one.code, one.genus) for one in turned.known] == [(one.code, one.genus) for one in usual().known]
    for one, other in zip(turned.known, usual().known, strict=True):
        assert one.worth == pytest.approx(other.worth, abs=1e-6)
        assert one.spread_share == pytest.approx(other.spread_share, abs=1e-9)
    assert turned.lead == usual().lead


def test_where_the_choice_stays_the_sentence_says_so() -> None:
    """Air cargo dearer than what all is sold for, and plants that sell for far more than they cost.

    Only if the box were known to be lost whole, nothing would be ordered.
    """
    answer = worth_knowing(routes=[QUICK, CARGO | {"freight": 9000}], lines=[line("Aglaonema", 30, sale_value=90)])
    assert answer.recommended == "courier"
    assert {one.code for one in (*answer.known, *answer.learned) if one.worth > 0} <= {"box_luck"}
    assert known(answer, "seller").changed_share == 0.0
    assert "would not change the choice: it is worth nothing on this order" in known(answer, "seller").text
    assert answer.lead.startswith("Nothing that could be asked or learned")


def test_times_that_the_buyer_gave_are_not_asked_again() -> None:
    given = [COURIER | {"transit_days": {"p10": 3, "p50": 5, "p90": 9}}, CARGO | {"transit_days": fixed(3)}]
    answer = worth_knowing(routes=given)
    assert {one.code for one in answer.learned} == {"more_boxes"}
    assert len(answer.notes) == len(usual().notes) - 1


def test_asking_about_more_boxes_tells_more() -> None:
    """But never all: what is the box's own stays unknown however many are asked about."""
    batch: Fields = {"lines": [line("Alocasia", 30, sale_value=30)], "risk": {"max_loss_share": 0.5}, "draws": 4096}
    few, many = (worth_knowing(asked_boxes=n, **batch) for n in (1, 1000))
    one, thousand = (learned(answer, "ask_last_boxes") for answer in (few, many))
    assert thousand.clear
    assert one.worth + 2 * one.standard_error < thousand.worth
    assert thousand.worth + 2 * thousand.standard_error < known(many, "transit_time").worth
    assert one.name == "asking what their last box took"
    assert thousand.text.startswith("Asking what their last 1,000 boxes took is worth about ")


def test_more_boxes_tell_more_and_count_over_a_year() -> None:
    """Of a genus that hardly pays: a hundred boxes tell nearly all of its effect, one less."""
    batch: Fields = {"lines": [line("Alocasia", 30, sale_value=28)], "routes": [CARGO], "risk": {"max_loss_share": 1.0}}
    one, hundred = (worth_knowing(draws=16_384, more_boxes=n, orders_a_year=20, **batch) for n in (1, 100))
    found = learned(hundred, "more_boxes", "Alocasia")
    assert found.clear
    assert found.worth > learned(one, "more_boxes", "Alocasia").worth
    assert found.worth <= known(hundred, "genus").worth + 2 * found.standard_error
    assert found.worth_a_year == pytest.approx(20 * found.worth)
    assert found.text.startswith("What 100 more boxes of Alocasia would tell is worth about ")
    assert "over a year of 20 orders like this one" in found.text
    assert "100 more boxes of Alocasia" in hundred.lead


def test_where_the_limit_forbids_more_money_knowing_counts_at_no_less_safety() -> None:
    """Courier earns more but loses too much: knowing how long it will take lets it be taken where it is safe."""
    batch: Fields = {"lines": [line("Alocasia", 30, sale_value=32)], "draws": 4096}
    courier, cargo = compare(**batch).routes
    assert courier.money.margin.mean > cargo.money.margin.mean
    chances = [route.chance_loss_within_limit for route in (courier, cargo)]
    asked = {"max_loss_share": 0.25, "confidence": round(sum(chances) / 2, 3)}
    bound = worth_knowing(risk=asked, **batch)
    assert (bound.recommended, bound.as_safe_as) == ("air cargo", "air cargo")
    time = known(bound, "transit_time")
    assert time.clear
    assert time.worth <= bound.everything.worth
    assert bound.lead.endswith("no less safe than air cargo.")
    assert "no less surely than on air cargo" in bound.notes[1]
    free = worth_knowing(risk={"max_loss_share": 0.25, "confidence": 0.5}, **batch)
    assert (free.recommended, free.as_safe_as) == ("courier", None)
    strict = worth_knowing(risk={"max_loss_share": 0.0, "confidence": 0.999}, **batch)
    assert (strict.recommended, strict.as_safe_as) == (None, None)
    assert "the limit is left out" in strict.notes[1]
    assert known(strict, "transit_time").worth == pytest.approx(known(free, "transit_time").worth)
