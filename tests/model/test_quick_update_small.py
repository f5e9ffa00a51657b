"""A small form of the study of the quick update, and its sums by hand."""

import pytest

from tests.studies.quick_update import compared, merged, summarise, table

N_IMPORTERS = 2


@pytest.mark.parametrize(("n_boxes", "later"), [(0, (1, 2)), pytest.param(10, (2,), marks=pytest.mark.long)])
def test_the_quick_update_answers_about_as_the_refit_does(n_boxes: int, later: tuple[int, ...]) -> None:
    """Importers 0 (the model itself) and 1 (log-logistic tolerance), one and two boxes on."""
    rows = [row for i in range(N_IMPORTERS) for row in compared(n_boxes, i, later=later)]
    assert [row.get("failed") for row in rows] == [None] * len(rows)
    used = [row for row in rows if row["in_use"]]
    assert len(used) >= len(rows) - 1
    for row in used:
        # A tenth of the widest intervals, whatever the old version said.
        assert row["quick"]["mean_apart"] < 0.02
        assert row["quick"]["ends_apart"] < 0.15


def made(importer: int, *, in_use: bool, mean_apart: float, score: float) -> dict[str, object]:
    """Return a row of one importer, one box on."""
    apart = {"mean_apart": mean_apart, "most_apart": 2 * mean_apart, "ends_apart": 0.1}
    return {
        "importer": importer, "truth": "the model", "later": 1, "effective": 150.0, "pareto_k": 0.4, "in_use": in_use,
        "quick": apart, "before": apart, "scores": [score, score, score],
    }  # fmt: skip


def test_only_updates_that_answer_are_compared_and_refusals_are_counted() -> None:
    rows = [made(0, in_use=True, mean_apart=0.01, score=-0.4), made(1, in_use=True, mean_apart=0.03, score=-0.6)]
    result = summarise([*rows, made(2, in_use=False, mean_apart=0.9, score=-9.0)], 10, 1)
    assert (result["importers"], result["refused"], result["quick_mean_apart"]) == (3, 1, 0.02)
    assert (result["quick_most_apart"], result["scores"]) == (0.06, [-0.5, -0.5, -0.5])


def test_more_importers_are_added_to_those_stored_and_failed_fits_are_told() -> None:
    old = {"rows": {"10": [made(0, in_use=True, mean_apart=0.01, score=-0.4)]}, "cpu_seconds": 5}
    new = {"rows": {"10": [{"importer": 1, "failed": "ConvergenceError: no"}]}, "cpu_seconds": 7}
    result = merged(old, new)
    assert result["cpu_seconds"] == 12
    assert result["failed_fits"] == ["10 boxes, importer 1: ConvergenceError: no"]
    assert "| 10 | 1 | 1 | 0 |" in table(result)
