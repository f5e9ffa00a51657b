"""Small forms of the studies of sellers who fall and of fits made again: the commands run for a quarter of an hour."""

import numpy as np
import pytest

from tests.studies import drift, repeats


def test_a_fall_is_likelier_where_plants_fell() -> None:
    """The likelihood ratio of a fall is above that of the same boxes without one; the boxes before are the same."""
    found = drift.told(0, n_boxes=8, n_draws=512, n_weighed=512)
    for n in drift.NEW:
        fell, ever = found[f"fallen, {n}"], found[f"as ever, {n}"]
        assert fell["likelihood ratio"] > ever["likelihood ratio"]
        assert fell["ratio by the fit of all boxes"] > ever["ratio by the fit of all boxes"]
        assert all(0.0 < one["chance worse"] < 1.0 and one["odds"] > 0.0 for one in (fell, ever))


def test_named_are_those_beyond_all_but_one_in_twenty() -> None:
    rows = [
        {
            f"{world}, {n}": dict.fromkeys(drift.STATISTICS, value)
            | {"odds": 2.0, "fall": world == "fallen" and i == 0, "untold": i < n, "sure": i >= 2 * n}
            for n in drift.NEW
            for world, value in (("as ever", i / 40), ("fallen", i / 40 + 0.5))
        }
        for i in range(40)
    ]
    cell = drift.summarise(rows)["2 new"]
    # Of 0, 1/40 ... 39/40 the least value with at most 1 in 20 above it is 38/40: half and more of it from i = 19 on.
    assert cell["chance worse"] == {
        "named": {"share": 0.525, "low": pytest.approx(0.361, abs=1e-3), "high": pytest.approx(0.685, abs=1e-3)},
        "bound": 0.95,
    }
    # A seller's page says so from 0.9 on, 36 to 39 of 40, and 16 to 39; and of a fall, the first.
    assert (cell["page"]["as ever"]["share"], cell["page"]["fallen"]["share"]) == (0.1, 0.625)
    assert (cell["not told"]["share"], cell["too few draws of the fit of all"]["share"]) == (0.05, 0.1)


def test_a_fit_made_again_is_compared_by_its_intervals() -> None:
    found = repeats.repeated("8 boxes", n_seeds=2, n_weighed=1024)
    assert found["intervals"] > 20
    assert 0.0 < found["most moved"] < 1.0
    assert np.isfinite(found["pareto k"])
