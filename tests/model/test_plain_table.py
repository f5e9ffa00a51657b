"""The estimator by itself: from a plain table of days and temperatures, without the application."""

import doctest
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from sklearn.model_selection import GroupKFold, cross_val_score

import model.fit.survival
from model.exposure.damage import ClockDraws, damage_rate
from model.exposure.table import ExposureTable
from model.fit.plain_table import TableError, read_counts, tabulate_lines
from model.fit.survival import TransitSurvival
from model.reference.tables import load_reference

REFERENCE = load_reference()
ROW = {"shipment": "a", "genus": "Philodendron", "days": 4.0, "inside_c": 21.0}
NAN = float("nan")


def equivalent_days(row: dict[str, Any], *, log_q10: float = 0.5, log_chill: float = -0.7) -> float:
    lines = tabulate_lines([row], REFERENCE)
    table = ExposureTable(lines["log_days"], lines["log_days_variance"])
    return float(np.exp(table.at(log_q10, log_chill)[0][0]))


def by_hand(inside_c: list[float], days: list[float], *, log_q10: float = 0.5, log_chill: float = -0.7) -> float:
    """Return the sum of days times the damage rate of Philodendron."""
    genus = REFERENCE.genera["Philodendron"]
    chill = np.exp(log_chill) * REFERENCE.chill_classes[genus.chill_class].sensitivity
    clock = ClockDraws(np.array([log_q10]), np.array([[genus.chill_threshold_c]]), np.array([[chill]]))
    return sum(float(damage_rate(np.array(c), clock)[0, 0]) * d for c, d in zip(inside_c, days, strict=True))


def test_the_example_of_the_estimator_runs() -> None:
    (example,) = (
        found
        for found in doctest.DocTestFinder().find(TransitSurvival, module=model.fit.survival)
        if found.name == "TransitSurvival"
    )
    assert len(example.examples) >= 5
    assert doctest.DocTestRunner().run(example).failed == 0


@pytest.mark.parametrize("inside_c", [30.0, 21.0, 2.0])
def test_a_constant_temperature_is_days_times_the_rate(inside_c: float) -> None:
    # Polynomials through the tabulated points err by well under 1 %.
    assert_allclose(equivalent_days({**ROW, "inside_c": inside_c}), by_hand([inside_c], [4.0]), rtol=5e-3)


def test_a_trace_counts_each_reading_to_half_way_and_is_stretched_to_the_days() -> None:
    # Readings at 0, 12 and 36 h count 12, 18 and 24 of 54 h; whole degrees are not shared between bins.
    trace = [(0, 30.0), (12, 20.0), (36, 10.0)]
    expected = by_hand([30.0, 20.0, 10.0], [4.0 * part / 54.0 for part in (12.0, 18.0, 24.0)])
    assert_allclose(equivalent_days({**ROW, "inside_c": trace}), expected, rtol=5e-3)
    assert_allclose(equivalent_days({**ROW, "inside_c": np.array(trace)}), expected, rtol=5e-3)


def test_columns_and_rows_say_the_same() -> None:
    rows = [ROW, {**ROW, "shipment": "b", "days": 9}]
    columns = {name: [row[name] for row in rows] for name in ROW}
    np.testing.assert_array_equal(tabulate_lines(rows, REFERENCE), tabulate_lines(columns, REFERENCE))


def test_what_is_left_out_is_the_reference_packing_and_not_known() -> None:
    (line,) = tabulate_lines([ROW], REFERENCE)
    assert (line["container"], line["roots"], line["service"], line["seller"], line["quarter"]) == (
        "foam_box", "damp_wrap", None, None, -1,
    )  # fmt: skip
    (line,) = tabulate_lines([{**ROW, "ship_date": "2026-11-30", "seller": "Ann", "service": "courier"}], REFERENCE)
    assert (line["quarter"], line["seller"], line["service"]) == (4 * 2026 + 3, "Ann", "courier")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"days": 0}, r"row 1, column days: 0; give days from closing to opening, above 0"),
        ({"days": "four"}, r"row 1, column days: 'four'; give days"),
        ({"days": NAN}, r"row 1, column days: nan; give days"),
        ({"inside_c": "21 °C"}, r"row 1, column inside_c: '21 °C'; give °C in the box, or a trace"),
        ({"inside_c": 70.0}, r"row 1, column inside_c: 70.0; give °C in the box"),
        ({"inside_c": None}, r"row 1, column inside_c: None; give °C in the box"),
        ({"inside_c": [(0, 20.0), (0, 21.0)]}, r"row 1, column inside_c: \(0.0, 21.0\); .*ascending.*reading 1 is not"),
        ({"inside_c": [20.0, 21.0]}, r"row 1, column inside_c: .*; give a trace as pairs"),
        ({"inside_c": []}, r"row 1, column inside_c: \[\]; give a trace as pairs"),
        ({"inside_c": [(0, "warm")]}, r"row 1, column inside_c: .*; give a trace as pairs"),
        ({"container": "barrel"}, r"row 1, column container: 'barrel'; give one of carton, .*foam_box"),
        ({"service": "pigeon"}, r"row 1, column service: 'pigeon'; give one of .*courier"),
        ({"ship_date": "30.11.2026"}, r"row 1, column ship_date: '30.11.2026'; give a date as YYYY-MM-DD"),
        ({"shipment": None}, r"row 1, column shipment: None; give every line the name of its box"),
        ({"genus": 7}, r"row 1, column genus: 7; give a name, or None"),
        ({"temperature": 20}, r"row 1, column temperature: it is not known; leave it out, columns are shipment, genus"),
    ],
)
def test_a_fault_names_the_row_the_column_and_the_remedy(change: dict[str, Any], said: str) -> None:
    with pytest.raises(TableError, match=said):
        tabulate_lines([ROW, {**ROW, **change}], REFERENCE)


def test_missing_columns_and_rows_are_told() -> None:
    with pytest.raises(TableError, match="row 0, column days: it is missing; needed are shipment, genus, days"):
        tabulate_lines([{name: value for name, value in ROW.items() if name != "days"}], REFERENCE)
    with pytest.raises(TableError, match="columns are not equally long: shipment 2, genus 1"):
        tabulate_lines({"shipment": ["a", "b"], "genus": ["Hoya"]}, REFERENCE)
    for text in ("boxes", [1, 2]):
        with pytest.raises(TableError, match="rows have no columns: give a mapping for each row"):
            tabulate_lines(text, REFERENCE)  # type: ignore[arg-type]
    with pytest.raises(TableError, match="no rows"):
        tabulate_lines([], REFERENCE)


@pytest.mark.parametrize(
    ("counts", "said"),
    [
        ([5, 3, 4, 10], r"row 1, column sent: 10, but 12 were counted; .* must add up"),
        ([5, 1, 1, 10], r"row 1, column sent: 10, but 7 were counted"),
        ([-1, 6, 5, 10], r"row 1, column healthy: -1.0; give a number of plants, 0 or more, or NaN"),
        (["ten", 0, 0, 10], r"row 1, column healthy: 'ten'; give a number of plants"),
        ([5, 3, 2, NAN], r"row 1, column sent: nan; give a number of plants, 0 or more$"),
        ([5, 3, 2, None], r"row 1, column sent: None; give a number of plants, 0 or more$"),
        ([5, NAN, 2, 10], r"row 1, column damaged: nan; give it too where healthy and dead are known"),
        ([NAN, 10, NAN, 10], r"row 1, columns healthy and dead: neither is known"),
    ],
)
def test_counts_that_cannot_be_name_their_row_of_the_table(counts: list[Any], said: str) -> None:
    # The box of row 1 comes first by name: rows are told as they stand in the table.
    with pytest.raises(TableError, match=said):
        TransitSurvival().fit([{**ROW, "shipment": "z"}, ROW], [[18, 1, 1, 20], counts])


def test_counts_of_another_number_of_rows_are_refused() -> None:
    with pytest.raises(TableError, match=r"shape \(1, 4\): give healthy, damaged, dead, sent for each of the 2 rows"):
        read_counts(np.array([[1.0, 1.0, 1.0, 3.0]]), 2)


@pytest.mark.parametrize("of_rows", [list, lambda rows: {name: [row[name] for row in rows] for name in ROW}])
def test_counts_partly_known_are_taken(of_rows: Callable[[list[dict[str, Any]]], Any]) -> None:
    rows = [ROW, {**ROW, "shipment": "b", "genus": None}]
    counts: list[list[float | None]] = [[18, NAN, NAN, 20], [None, None, 3, 20]]
    fitted = TransitSurvival(n_draws=256, n_weighed=256).fit(of_rows(rows), counts)
    assert (fitted.n_boxes_, fitted.n_lines_) == (2, 2)
    assert_allclose(fitted.predict_proba(of_rows(rows)).sum(axis=1), 1.0)


def test_rows_work_in_cross_validation_by_box() -> None:
    rows = [{**ROW, "shipment": f"box {i // 2}", "days": 3.0 + i} for i in range(8)]
    counts = np.array([[18 - 2 * i, 1 + i, 1 + i, 20] for i in range(8)], dtype=float)
    groups = [row["shipment"] for row in rows]
    scores = cross_val_score(
        TransitSurvival(n_draws=256, n_weighed=256), rows, counts, groups=groups, cv=GroupKFold(2)
    )  # fmt: skip
    assert scores.shape == (2,)
    assert np.isfinite(scores).all()
