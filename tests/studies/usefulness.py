"""Against what a buyer would use instead: ``python -m tests.studies.usefulness``.

Importers whose truth is the model, and importers whose truth is not, send boxes; each method is shown the same known
boxes and gives every plant of the next quarter's 20 boxes its chances. The score is the mean log predictive probability
of a plant, in nats; differences are paired by importer.
"""

import argparse
import time
from collections.abc import Sequence
from typing import Any

import numpy as np
from joblib import Parallel, delayed
from numpy.typing import NDArray
from scipy import stats
from threadpoolctl import threadpool_limits

from model.fit.survival import TransitSurvival
from model.reference.tables import load_reference
from model.synthetic import draw_truth
from tests.studies.importers import NEXT_QUARTER, draw_importer
from tests.studies.record import model_digest, read, versions, write
from tests.studies.rivals import genus_frequencies, gradient_boosting, logistic_regression, rules_of_thumb
from tests.studies.truths import TRUTHS, draw_outcomes

Array = NDArray[np.float64]

NAME = "usefulness.json"
SEED = 1972
SIZES = (10, 30, 100, 400)
N_IMPORTERS = 40
N_DRAWS, N_WEIGHED = 1024, 1024
MOST_WORSE = 0.003
BETTER_FROM = 30
RULES = "rules of thumb"
RIVALS = (RULES, "genus frequencies", "logistic regression", "gradient boosting")
OWN = "this model"


def scores(truth_name: str, n_boxes: int, i: int, *, n_weighed: int = N_WEIGHED) -> dict[str, float] | str:
    """Return each method's mean log predictive probability of a plant in new boxes of importer i, or a fit's fault.

    Importers of one number have the same covariates and parameters under every truth.
    """
    reference = load_reference()
    rng = np.random.default_rng([SEED, n_boxes, i])
    importer = draw_importer(reference, n_boxes, rng=rng, new_quarter=NEXT_QUARTER)
    truth = draw_truth(reference, importer.observations, rng=rng)
    counts = draw_outcomes(importer, truth, truth_name, rng=rng)
    known, new = counts[importer.known], counts[~importer.known]
    with threadpool_limits(1):
        fit = TransitSurvival(reference, n_draws=N_DRAWS, n_weighed=n_weighed, random_state=i)
        try:
            fit.fit(importer.known_lines, known)
        except (ArithmeticError, RuntimeError, ValueError) as fault:
            return f"importer {i}: {type(fault).__name__}: {str(fault)[:80]}"
        chances = {
            OWN: fit.predict_proba(importer.new_lines),
            RULES: rules_of_thumb(importer, reference, seed=i),
            "genus frequencies": genus_frequencies(importer, known),
            "logistic regression": logistic_regression(importer, known),
            "gradient boosting": gradient_boosting(importer, known),
        }
    return {name: plant_score(p, new) for name, p in chances.items()}


def plant_score(chances: Array, counts: Array) -> float:
    """Return the mean log predictive probability of a plant; outcomes that did not happen do not count."""
    seen = counts[:, :3] > 0
    return float((counts[:, :3][seen] * np.log(chances[seen])).sum() / counts[:, 3].sum())


def summarise(rows: Sequence[dict[str, float]], failed: Sequence[str], n_boxes: int, wanted: int) -> dict[str, Any]:
    """Return a cell's result: mean scores, and how much better this model is than each rival, with its 95 % limits."""
    t = float(stats.t.ppf(0.95, len(rows) - 1))
    own = np.array([row[OWN] for row in rows])
    gains: dict[str, dict[str, float]] = {}
    worst_upper = -float("inf")
    for rival in RIVALS:
        gain = own - np.array([row[rival] for row in rows])
        margin = t * float(gain.std(ddof=1) / np.sqrt(len(rows)))
        gains[rival] = {
            "gain": round(float(gain.mean()), 4),
            "lower": round(float(gain.mean()) - margin, 4),
            "upper": round(float(gain.mean()) + margin, 4),
        }
        worst_upper = max(worst_upper, margin - float(gain.mean()))
    means = {name: round(float(np.mean([row[name] for row in rows])), 4) for name in (OWN, *RIVALS)}
    beats_rules = gains[RULES]["lower"] > 0
    partial = len(rows) + len(failed) < wanted
    never_worse = worst_upper <= MOST_WORSE
    return {
        "importers": len(rows),
        "wanted": wanted,
        "partial": partial,
        "failed_fits": list(failed),
        "scores": means,
        "gains": gains,
        "best_rival": max(RIVALS, key=lambda name: means[name]),
        "worse_at_most": round(worst_upper, 4),
        "never_worse": never_worse,
        "beats_rules": beats_rules,
        "passes": not partial and not failed and never_worse and (beats_rules or n_boxes < BETTER_FROM),
    }


def cell(truth_name: str, n_boxes: int, n: int, *, processes: int = 1, n_weighed: int = N_WEIGHED) -> dict[str, Any]:
    """Return one cell's result over n importers."""
    start = time.perf_counter()
    jobs = (delayed(scores)(truth_name, n_boxes, i, n_weighed=n_weighed) for i in range(n))
    outcomes: list[dict[str, float] | str] = list(Parallel(processes)(jobs))
    rows = [row for row in outcomes if not isinstance(row, str)]
    failed = [row for row in outcomes if isinstance(row, str)]
    result = summarise(rows, failed, n_boxes, N_IMPORTERS)
    return {**result, "seconds": round(time.perf_counter() - start)}


def table(result: dict[str, Any]) -> str:
    """Return a stored result as Markdown: gain over the best rival and over the rules, nats a plant."""
    lines = [
        "| truth | boxes | importers | this model | best rival | gain | worse by at most | gain over the rules | |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for truth_name in TRUTHS:
        for n_boxes in SIZES:
            r = result["cells"].get(f"{truth_name}, {n_boxes}")
            if r is None:
                continue
            best, rules = r["best_rival"], r["gains"][RULES]
            verdict = "cut short" if r["partial"] else "met" if r["passes"] else "missed"
            lines.append(
                f"| {truth_name} | {n_boxes} | {r['importers']} "
                f"| {r['scores'][OWN]:.3f} | {best} {r['scores'][best]:.3f} | {r['gains'][best]['gain']:+.3f} "
                f"| {max(r['worse_at_most'], 0.0):.3f} | {rules['gain']:+.3f} ({rules['lower']:+.3f} to "
                f"{rules['upper']:+.3f}) | {verdict} |"
            )
    return "\n".join(lines)


def main() -> None:
    """Run the study, or with --table print its last result."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", type=int, nargs="+", default=SIZES)
    parser.add_argument("--truths", nargs="+", choices=TRUTHS, default=list(TRUTHS))
    parser.add_argument("--importers", type=int, default=N_IMPORTERS)
    parser.add_argument("--weighed", type=int, default=N_WEIGHED)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--table", action="store_true", help="print the last result and run nothing")
    options = parser.parse_args()
    about = {"seed": SEED, "draws_weighed": options.weighed, "model": model_digest(), **versions()}
    for n_boxes in () if options.table else options.sizes:
        for truth_name in options.truths:
            done = cell(truth_name, n_boxes, options.importers, processes=options.processes, n_weighed=options.weighed)
            cells = read(NAME).get("cells", {})
            write(NAME, {"cells": {**cells, f"{truth_name}, {n_boxes}": {**done, **about}}})
    print(table(read(NAME)))  # noqa: T201 - a command's answer


if __name__ == "__main__":
    main()
