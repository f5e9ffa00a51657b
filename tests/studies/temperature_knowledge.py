"""Does knowing more of a box's temperature ever predict worse? ``python -m tests.studies.temperature_knowledge``.

Invented importers send the same boxes four times: nobody logged them; a logger left its mean; its mean and extremes;
its readings. Air, clock and counts are drawn outside the model's family (`tests.studies.journeys`,
`tests.studies.truths`). Each fit gives every plant of the next year's 100 boxes its chances, by the weather that a plan
knows and, beside it, by the readings of the new boxes; the score is the mean log predictive probability of a plant, in
nats; differences are paired by importer.

An importer's lanes may be what the tables say on average over its boxes, or always warmer or colder: then a fit that
knows no temperatures learns plants that suit the tables' weather, and plans are made with that weather.

Importers are numbered and kept one by one, so that the study grows: a second run takes up where the first one ended,
unless the model is another.
"""

import argparse
import time
from collections.abc import Mapping, Sequence
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
from joblib import Parallel, delayed
from numpy.typing import NDArray
from scipy import stats
from threadpoolctl import threadpool_limits

from model.fit import Lines, observe
from model.fit.survival import TransitSurvival
from model.quadrature import normal_nodes
from model.reference.tables import load_reference
from model.synthetic import draw_truth
from tests.studies.importers import Importer
from tests.studies.journeys import KNOWLEDGE, LANES, draw_sent, true_log_days
from tests.studies.record import RESULTS, model_digest, read, versions, write
from tests.studies.truths import TRUTHS, draw_outcomes
from tests.studies.usefulness import plant_score

Array = NDArray[np.float64]

NAME = "temperature_knowledge.json"
SEED = 1911
SIZES = (30, 80)
N_IMPORTERS = 40
N_DRAWS, N_WEIGHED = 1024, 1024
WEATHER_NODES = 5
MOST_WORSE = 0.002
CONFIDENCE = 0.95
# The model itself is no truth here.
OTHER_TRUTHS = [name for name in TRUTHS if name != "the model"]
ASKED = ("by plan", "by readings")
"""What is known of the new boxes' temperature: the weather alone, as when an order is planned, or their readings."""
# What exposures depend on beside what every study does.
SOURCES = ("exposure/box", "exposure/climate", "exposure/journey", "exposure/measured", "exposure/recorded")
TABLES = ("places", "service_legs", "weather")
STEPS = (("nothing", "mean"), ("mean", "extremes"), ("extremes", "trace"), ("nothing", "trace"))

Row = dict[str, Any]
Cell = tuple[str, int]
"""Lanes and number of known boxes."""


def scores(lanes: str, n_boxes: int, i: int) -> Row:
    """Return importer i's scores by what is asked and what is known of its boxes, or the fault of a fit."""
    start = time.process_time()
    reference = load_reference()
    rng = np.random.default_rng([SEED, n_boxes, i])
    sent = draw_sent(reference, n_boxes, lanes=lanes, rng=rng)
    lines = {knowledge: sent.lines(knowledge, reference) for knowledge in KNOWLEDGE}
    true_lines = lines["trace"].copy()
    uncounted = np.full((len(true_lines), 4), np.nan)
    uncounted[:, 3] = sent.boxes.lines.sent
    truth = draw_truth(reference, observe(true_lines, uncounted, reference).observations, rng=rng)
    log_days = true_log_days(sent, reference, truth.parameters["log_q10"], truth.parameters["chill_rate"], rng=rng)
    true_lines["log_days"], true_lines["log_days_variance"] = log_days[:, None, None], 0.0
    observed = observe(true_lines, uncounted, reference)
    assert (observed.order == np.arange(len(true_lines))).all()
    inside_c = np.array([journey.mean_c for journey in sent.journeys])[sent.boxes.lines.shipment]
    days = np.array([journey.days for journey in sent.journeys])[sent.boxes.lines.shipment]
    importer = Importer(true_lines, observed.observations, sent.known, days, inside_c)
    truth_name = OTHER_TRUTHS[i % len(OTHER_TRUTHS)]
    counts = draw_outcomes(importer, truth, truth_name, rng=rng)
    asked = dict(zip(ASKED, (lines["nothing"][~sent.known], lines["trace"][~sent.known]), strict=True))
    row: Row = {"truth": truth_name, "scores": {name: {} for name in ASKED}, "kappa": {}, "effective": {}}
    row["true_kappa"] = round(truth.parameters["kappa"], 3)
    for knowledge in KNOWLEDGE:
        fit = TransitSurvival(reference, n_draws=N_DRAWS, n_weighed=N_WEIGHED, random_state=i)
        try:
            with threadpool_limits(1):
                fit.fit(lines[knowledge][sent.known], counts[sent.known])
        except (ArithmeticError, RuntimeError, ValueError, np.linalg.LinAlgError) as fault:
            return {"failed": f"importer {i}, {knowledge}: {type(fault).__name__}: {str(fault)[:80]}"}
        for name, table in asked.items():
            row["scores"][name][knowledge] = round(plant_score(chances(fit, table), counts[~sent.known]), 6)
        row["kappa"][knowledge] = round(float(np.median(fit.draws_.parameters.kappa)), 3)
        row["effective"][knowledge] = round(float(fit.diagnostics_["effective_draws"]))
    row["seconds"] = round(time.process_time() - start, 1)
    return row


def chances(fit: TransitSurvival, lines: Lines) -> Array:
    """Return the chances of healthy, damaged and dead of new lines, averaged over their weather, (lines, 3)."""
    nodes, weights = normal_nodes(WEATHER_NODES)
    mean: Array = np.zeros((len(lines), 3))
    for node, weight in zip(nodes, weights, strict=True):
        at_node = lines.copy()
        at_node["log_days"] += node * np.sqrt(lines["log_days_variance"])
        mean += weight * fit.predict_proba(at_node)
    return mean


def step(rows: Sequence[Row], asked: str, less: str, more: str) -> dict[str, float]:
    """Return the mean gain of knowing more, its one-sided 95 % limits, and by how much it may be worse at most."""
    gain = np.array([row["scores"][asked][more] - row["scores"][asked][less] for row in rows])
    n = len(gain)
    margin = float(stats.t.ppf(CONFIDENCE, n - 1) * gain.std(ddof=1) / np.sqrt(n)) if n > 1 else float("inf")
    mean = float(gain.mean())
    return {"gain": mean, "lower": mean - margin, "upper": mean + margin, "worse_at_most": margin - mean}


def table(rows_of: Mapping[Cell, Sequence[Row]]) -> str:
    """Return scores and steps as Markdown, nats a plant."""
    head = [*KNOWLEDGE, *(f"{less} to {more}" for less, more in STEPS)]
    lines = [f"| lanes | boxes | asked | importers | {' | '.join(head)} | |", "|---" * (len(head) + 5) + "|"]
    for (lanes, n_boxes), rows in rows_of.items():
        fitted = [row for row in rows if "failed" not in row]
        if not fitted:
            continue
        for asked in ASKED:
            means = [f"{np.mean([row['scores'][asked][k] for row in fitted]):.4f}" for k in KNOWLEDGE]
            steps = [step(fitted, asked, less, more) for less, more in STEPS]
            told = [f"{s['gain']:+.4f} (worse by at most {max(s['worse_at_most'], 0.0):.4f})" for s in steps]
            cells = [lanes, str(n_boxes), asked, str(len(fitted)), *means, *told, _verdict(steps, rows)]
            lines.append(f"| {' | '.join(cells)} |")
    return "\n".join(lines)


def _verdict(steps: Sequence[dict[str, float]], rows: Sequence[Row]) -> str:
    """Say whether no step is worse and a trace gains; so many importers are too few while any are wanted."""
    *each, whole = steps
    met = all(s["worse_at_most"] <= MOST_WORSE for s in each) and whole["lower"] > 0
    met = met and not any("failed" in row for row in rows)
    return ("met" if met else "missed") + (", too few importers" if len(rows) < N_IMPORTERS else "")


def kept_rows(lanes: str, n_boxes: int) -> dict[str, Row]:
    """Return the importers on record, by number, that this model's fits scored."""
    cell: dict[str, Any] = read(NAME).get("cells", {}).get(f"{lanes}, {n_boxes}", {})
    return dict(cell.get("rows", {})) if cell.get("model") == model_digest(SOURCES, TABLES) else {}


def keep(lanes: str, n_boxes: int, rows: Mapping[str, Row]) -> None:
    """Record the importers of one cell."""
    cells = read(NAME).get("cells", {})
    ordered = dict(sorted(rows.items(), key=lambda item: int(item[0])))
    about = {"seed": SEED, "draws_weighed": N_WEIGHED, "model": model_digest(SOURCES, TABLES), **versions()}
    write(NAME, {"cells": {**cells, f"{lanes}, {n_boxes}": {**about, "rows": ordered}}})


def report() -> str:
    """Return the recorded result as Markdown: command, seed, run time, tables, faults."""
    cells = read(NAME).get("cells", {})
    rows_of: dict[Cell, list[Row]] = {
        (lanes, n_boxes): list(cells[f"{lanes}, {n_boxes}"]["rows"].values())
        for lanes in LANES
        for n_boxes in SIZES
        if f"{lanes}, {n_boxes}" in cells
    }
    rows = [row for of in rows_of.values() for row in of]
    seconds = sum(row.get("seconds", 0.0) for row in rows)
    failed = [row["failed"] for row in rows if "failed" in row]
    numbers = ", ".join(str(len(of)) for of in rows_of.values())
    return "\n".join(
        [
            "# Temperature knowledge",
            "",
            f"`python -m tests.studies.temperature_knowledge`, seed {SEED}: {numbers} importers by row of",
            f"lanes and boxes; {seconds:,.0f} s of one core.",
            f"Fits that failed: {'; '.join(failed) if failed else 'none'}.",
            "",
            table(rows_of),
            "",
        ]
    )


def main() -> None:
    """Score the importers that are missing, or with --table print what is recorded."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lanes", nargs="+", choices=LANES, default=LANES)
    parser.add_argument("--sizes", type=int, nargs="+", default=SIZES)
    parser.add_argument("--importers", type=int, default=N_IMPORTERS, help="numbered from 0; those on record are kept")
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--table", action="store_true", help="print what is recorded and run nothing")
    options = parser.parse_args()
    for first in range(0, 0 if options.table else options.importers, options.processes):
        # Every cell in turn, so that a run cut short has about as many of each.
        for lanes, n_boxes in product(options.lanes, options.sizes):
            rows = kept_rows(lanes, n_boxes)
            numbers = range(first, min(first + options.processes, options.importers))
            missing = [i for i in numbers if str(i) not in rows]
            if missing:
                jobs = (delayed(scores)(lanes, n_boxes, i) for i in missing)
                rows |= {str(i): row for i, row in zip(missing, Parallel(options.processes)(jobs), strict=True)}
                keep(lanes, n_boxes, rows)
    told = report()
    Path(RESULTS / NAME).with_suffix(".md").write_text(told, encoding="utf-8")
    print(told)  # noqa: T201 - a command's answer


if __name__ == "__main__":
    main()
