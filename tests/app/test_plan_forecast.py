"""The forecast stored with a plan: the answer as given, and what is needed to score it without a model."""

import json
from typing import Any

import numpy as np
import pytest

from app.boxes.plan_forecast import count_draws, plan_forecast
from app.comparing.compare import answer_compare
from app.schemas.plan_forecast import PlanForecastAnswer
from tests.app.batches import COURIER, compare_request, engine, fixed, line, outcomes
from tests.app.fits import fitted_engine

Fields = dict[str, Any]
KINDS = ("healthy", "damaged", "dead")


def stored(using: Any = None, **fields: Any) -> Fields:
    request = compare_request(routes=[COURIER], **fields)
    answer: Fields = json.loads(plan_forecast(request, using or engine()).answer_json)
    return answer


def test_it_is_the_answer_with_its_version_and_seed() -> None:
    request = compare_request(routes=[COURIER], seed=7)
    forecast = plan_forecast(request, engine())
    told = answer_compare(request, engine()).routes[0].model_dump(mode="json")
    answer = json.loads(forecast.answer_json)
    assert {name: answer[name] for name in told} == told
    assert (answer["model_version"], answer["seed"]) == (forecast.model_version, forecast.seed)
    assert (forecast.model_version, forecast.seed) == (engine().model_version, 7)
    PlanForecastAnswer.model_validate_json(forecast.answer_json)


def test_counts_are_those_that_were_drawn() -> None:
    drawn = outcomes()
    said = stored()["scoring"]["forecast"]
    for kind in KINDS:
        counts = getattr(drawn, kind)
        for cells, of in [(said["batch"][kind], counts.sum(axis=1))] + [
            (row["plants"][kind], counts[:, i]) for i, row in enumerate(said["lines"])
        ]:
            assert np.array_equal(np.repeat(cells["counts"], cells["draws"]), np.sort(of))


def test_mean_chances_are_those_of_the_draws() -> None:
    said = stored(draws=4096)["scoring"]["forecast"]
    drawn = outcomes(draws=4096)
    for i, row in enumerate(said["lines"]):
        chances = row["mean_chances"]
        assert sum(chances.values()) == pytest.approx(1.0)
        # the counts of 4,096 boxes: a standard error of the mean share is about 0.004
        for kind in KINDS:
            assert chances[kind] == pytest.approx(getattr(drawn, kind)[:, i].mean() / row["quantity"], abs=0.015)


def test_transit_quantiles_are_those_of_the_answer() -> None:
    answer = stored()
    quantiles = answer["scoring"]["forecast"]["transit_days"]
    levels = np.arange(1, 200) / 200
    assert len(quantiles) == 199
    for name, level in (("p10", 0.1), ("p50", 0.5), ("p90", 0.9)):
        assert quantiles[int(np.argmin(abs(levels - level)))] == pytest.approx(answer["transit_days"][name], abs=1e-4)
    request = compare_request(routes=[COURIER | {"transit_days": fixed(4)}])
    sure = json.loads(plan_forecast(request, engine()).answer_json)
    assert len(set(sure["scoring"]["forecast"]["transit_days"])) == 1


def test_rules_are_stored_beside_a_fitted_model_as_if_they_had_been_asked() -> None:
    using = fitted_engine()
    fitted, rules = stored(using)["scoring"], stored()["scoring"]
    assert fitted["forecast"]["model_version"] == using.model_version
    assert fitted["rules"] == rules["forecast"]
    assert fitted["rules"] != fitted["forecast"]
    assert rules["rules"] is None


@pytest.mark.parametrize(("n", "quantity"), [(20, 20), (20, 2000), (200, 30)])
def test_it_stays_small(n: int, quantity: int) -> None:
    lines = [line(("Aglaonema", "Alocasia", "Hoya")[i % 3], quantity) for i in range(n)]
    packing = {"container": "foam_box", "capacity": 100_000}
    answer = stored(fitted_engine(), lines=lines, packing=packing)
    # 200 kB for 20 lines; thinned and said so beyond 50.
    assert len(json.dumps(answer, separators=(",", ":"))) < (200_000 if n == 20 else 500_000)
    thinned = answer["scoring"]["thinned"]
    assert thinned is None if n == 20 else thinned.startswith("200 lines: at most 24 different counts")


def test_many_counts_become_quantiles() -> None:
    counts = np.random.default_rng(1).binomial(5000, 0.6, 4096)
    cells = count_draws(counts, 100)
    again = np.repeat(cells.counts, cells.draws)
    assert len(again) == 100
    for level in (0.1, 0.5, 0.9):
        assert np.quantile(again, level) == pytest.approx(np.quantile(counts, level), abs=3)
    exact = count_draws(counts[:50], 100)
    assert np.array_equal(np.repeat(exact.counts, exact.draws), np.sort(counts[:50]))
