"""How far the quick update agrees with the refit that follows: ``python -m tests.studies.quick_update``.

Invented importers, five of six with truths outside the model's family, have a version fitted to their first boxes (or
the rules of thumb); then some boxes more arrive. What the weighed draws answer is laid beside what a refit of all these
boxes answers, and beside what the old version answers, for every line of the next quarter's 20 boxes.
"""

import argparse
import time
from collections.abc import Sequence
from typing import Any

import numpy as np
from joblib import Parallel, delayed
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from app.learning.later_boxes import weighed_pool
from app.serving.engine import STORED_DRAWS, rules_draws
from model.fit.box_predictive import described, line_predictors
from model.fit.lines import observe
from model.fit.reweighting import Reweighted, reweight
from model.fit.survival import TransitSurvival
from model.predict.predict import MarginalChances, PosteriorDraws
from model.predict.resampled import resampled_draws, with_levels
from model.reference.tables import Reference, load_reference
from model.synthetic import draw_truth
from tests.studies.importers import NEXT_QUARTER, Importer, draw_importer
from tests.studies.record import model_digest, read, versions, write
from tests.studies.truths import TRUTHS, draw_outcomes
from tests.studies.usefulness import plant_score

Array = NDArray[np.float64]

NAME = "quick_update.json"
SEED = 1763
# Boxes that the version which serves was fitted to; 0: the rules of thumb serve.
SIZES = (0, 10, 30, 100)
LATER = (1, 2, 5, 10)
N_IMPORTERS = 6
INTERVAL = (0.1, 0.9)


class Answers:
    """Chances of healthy of some lines: mean (lines,), the ends of the 80 % interval (lines, 2), and their score."""

    def __init__(self, importer: Importer, counts: Array, draws: PosteriorDraws) -> None:
        self._chances = MarginalChances(draws)
        lines = importer.new_lines
        means, ends = [], []
        for row in line_predictors(*described(lines, draws.reference), draws):
            healthy, dead = (p.astype(float) for p in self._chances(row.eta))
            means.append([healthy.mean(), 1.0 - healthy.mean() - dead.mean(), dead.mean()])
            ends.append(np.quantile(healthy, INTERVAL))
        chances = np.array(means)
        self.mean, self.ends = chances[:, 0], np.array(ends)
        self.score = plant_score(chances, counts[~importer.known])

    def against(self, other: "Answers") -> dict[str, float]:
        """Return how far means lie apart, and the ends of intervals on average in mean widths of the other's."""
        apart = np.abs(self.mean - other.mean)
        width = other.ends[:, 1] - other.ends[:, 0]
        return {
            "mean_apart": float(apart.mean()),
            "most_apart": float(apart.max()),
            "ends_apart": float(np.abs(self.ends - other.ends).mean() / width.mean()),
        }


def weighed_draws(
    importer: Importer, counts: Array, boxes: NDArray[np.bool_], draws: PosteriorDraws
) -> tuple[Reweighted, PosteriorDraws]:
    """Return the weights that some boxes, (lines,) of them, give to draws, and the draws drawn anew."""
    observed = observe(importer.lines[boxes], counts[boxes], draws.reference)
    pool = weighed_pool(draws, len(observed.plants))
    weighed = reweight(observed, pool)
    return weighed, resampled_draws(draws, with_levels(pool, weighed.levels), weighed.index(draws.key, draws.n_draws))


def fitted_draws(
    importer: Importer, counts: Array, boxes: NDArray[np.bool_], reference: Reference, seed: int
) -> PosteriorDraws:
    """Return the draws of a fit to some boxes; those of the rules of thumb where there are none."""
    if not boxes.any():
        return rules_draws(reference)
    fit = TransitSurvival(reference, n_draws=STORED_DRAWS, random_state=seed)
    draws: PosteriorDraws = fit.fit(importer.lines[boxes], counts[boxes]).draws_
    return draws


def compared(n_boxes: int, i: int, *, later: Sequence[int] = LATER) -> list[dict[str, Any]]:
    """Return the rows of importer i, one for each number of later boxes, or the fault of a fit that failed."""
    reference = load_reference()
    rng = np.random.default_rng([SEED, n_boxes, i])
    truth_name = tuple(TRUTHS)[i % len(TRUTHS)]
    importer = draw_importer(reference, n_boxes + max(later), rng=rng, new_quarter=NEXT_QUARTER)
    truth = draw_truth(reference, importer.observations, rng=rng)
    counts = draw_outcomes(importer, truth, truth_name, rng=rng)
    box = importer.observations.box
    rows: list[dict[str, Any]] = []
    with threadpool_limits(1):
        try:
            active = fitted_draws(importer, counts, box < n_boxes, reference, i)
            before = Answers(importer, counts, active)
            for n in later:
                some = importer.known & (box >= n_boxes) & (box < n_boxes + n)
                weighed, draws = weighed_draws(importer, counts, some, active)
                quick = Answers(importer, counts, draws)
                refit = Answers(importer, counts, fitted_draws(importer, counts, box < n_boxes + n, reference, i))
                rows.append(
                    {
                        "importer": i,
                        "truth": truth_name,
                        "later": n,
                        "effective": weighed.effective,
                        "pareto_k": float(np.nan_to_num(weighed.pareto_k, posinf=99.0)),
                        "in_use": weighed.is_enough,
                        "quick": quick.against(refit),
                        "before": before.against(refit),
                        "scores": [before.score, quick.score, refit.score],
                    }
                )
        except (ArithmeticError, RuntimeError, ValueError) as fault:
            rows.append({"importer": i, "failed": f"{type(fault).__name__}: {str(fault)[:80]}"})
    return rows


def summarise(rows: Sequence[dict[str, Any]], n_boxes: int, n: int) -> dict[str, Any]:
    """Return the result of one number of later boxes: agreement where the update answers, and how often it does."""
    own = [row for row in rows if row.get("later") == n]
    used = [row for row in own if row["in_use"]]
    result: dict[str, Any] = {
        "boxes": n_boxes,
        "later": n,
        "importers": len(own),
        "refused": len(own) - len(used),
        "effective_draws": [round(float(np.quantile([row["effective"] for row in own], q))) for q in (0.0, 0.5)],
        "most_pareto_k": round(max(row["pareto_k"] for row in own), 2),
    }
    if used:
        for name in ("quick", "before"):
            for key in ("mean_apart", "ends_apart"):
                result[f"{name}_{key}"] = round(float(np.mean([row[name][key] for row in used])), 4)
            result[f"{name}_most_apart"] = round(max(row[name]["most_apart"] for row in used), 4)
        scores = np.array([row["scores"] for row in used])
        result["scores"] = np.round(scores.mean(axis=0), 4).tolist()
    return result


def table(result: dict[str, Any]) -> str:
    """Return a stored result as Markdown."""
    lines = [
        "| fitted to | boxes since | importers | refuses itself | effective draws, median (least) | mean chance apart: "
        "update (old version) | furthest line | ends of the 80 % interval, in widths | score, nats a plant: old, "
        "update, refit |",
        "|--:|--:|--:|--:|--:|--:|--:|--:|--:|",
    ]
    for r in result["cells"]:
        head = f"| {r['boxes'] or 'rules'} | {r['later']} | {r['importers']} | {r['refused']} "
        head += f"| {r['effective_draws'][1]:,} ({r['effective_draws'][0]:,}) "
        if "scores" in r:
            head += f"| {r['quick_mean_apart']:.3f} ({r['before_mean_apart']:.3f}) "
            head += f"| {r['quick_most_apart']:.3f} ({r['before_most_apart']:.3f}) "
            head += f"| {r['quick_ends_apart']:.2f} ({r['before_ends_apart']:.2f}) "
            head += "| " + ", ".join(f"{score:.3f}" for score in r["scores"]) + " |"
        else:
            head += "| | | | |"
        lines.append(head)
    failed = result["failed_fits"]
    return "\n".join([*lines, "", f"Fits that failed: {', '.join(failed) if failed else 'none'}."])


def study(sizes: Sequence[int], n_importers: int, *, first: int = 0, processes: int = 1) -> dict[str, Any]:
    """Return all cells over importers `first` onwards, with the rows that they come from."""
    start = time.process_time()
    rows: dict[str, list[dict[str, Any]]] = {}
    for n_boxes in sizes:
        jobs = (delayed(compared)(n_boxes, i) for i in range(first, first + n_importers))
        rows[str(n_boxes)] = [row for own in Parallel(processes)(jobs) for row in own]
    return {"rows": rows, "cpu_seconds": round(time.process_time() - start)}


def merged(old: dict[str, Any], new: dict[str, Any]) -> dict[str, Any]:
    """Return a stored result with more importers, each once."""
    rows: dict[str, list[dict[str, Any]]] = {}
    for size in sorted({*old.get("rows", {}), *new["rows"]}, key=int):
        fresh = new["rows"].get(size, [])
        again = {row["importer"] for row in fresh}
        rows[size] = [row for row in old.get("rows", {}).get(size, []) if row["importer"] not in again] + fresh
    cells = [
        summarise(own, int(size), n)
        for size, own in rows.items()
        for n in sorted({row["later"] for row in own if "later" in row})
    ]
    failed = [f"{size} boxes, importer {row['importer']}: {row['failed']}"
              for size, own in rows.items() for row in own if "failed" in row]  # fmt: skip
    seconds = old.get("cpu_seconds", 0) + new["cpu_seconds"]
    return {"rows": rows, "cells": cells, "failed_fits": failed, "cpu_seconds": seconds}


def main() -> None:
    """Run the study, or with --table print its last result; importers from --first on are added to those stored."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", type=int, nargs="+", default=SIZES)
    parser.add_argument("--importers", type=int, default=N_IMPORTERS)
    parser.add_argument("--first", type=int, default=0, help="number of the first importer, which seeds it")
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--table", action="store_true", help="print the last result and run nothing")
    options = parser.parse_args()
    if not options.table:
        about = {"seed": SEED, "model": model_digest(), **versions()}
        stored = read(NAME)
        old = stored if stored.get("about") == about else {}  # of another model: begun anew
        done = study(options.sizes, options.importers, first=options.first, processes=options.processes)
        write(NAME, {**merged(old, done), "about": about})
    print(table(read(NAME)))  # noqa: T201 - a command's answer


if __name__ == "__main__":
    main()
