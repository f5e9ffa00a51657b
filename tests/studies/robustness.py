"""Records that a small importer really has: ``python -m tests.studies.robustness``.

Each importer's boxes are recorded rightly, and with planted faults: Fahrenheit in the column of °C, arrivals dated a
month late, healthy and dead swapped, boxes lost whole. Every record is fitted as it stands, and scored on new boxes,
rightly recorded, in nats a plant, against the fit of the right record and against rules of thumb. Truths are the
model's and three that it does not contain, in turn.

What would be served is scored too: the fit always, the fit where the boxes left out one by one speak for it, and a
mixture of fit and rules by weights that they give (stacking: Yao, Vehtari, Simpson & Gelman 2018, Bayesian Analysis
13:917).
"""

import argparse
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from joblib import Parallel, delayed
from numpy.typing import NDArray
from scipy import special, stats
from threadpoolctl import threadpool_limits

from model.exposure.table import constant_log_days
from model.fit.box_predictive import box_log_likelihoods
from model.fit.leave_one_out import leave_one_out
from model.fit.lines import Observed, observe
from model.fit.strays import RATES
from model.fit.survival import TransitSurvival
from model.predict.predict import draw_prior_posterior
from model.reference.tables import Reference, load_reference
from model.synthetic import draw_truth
from tests.studies.importers import NEXT_QUARTER, Importer, draw_importer
from tests.studies.record import model_digest, read, versions, write
from tests.studies.rivals import rules_of_thumb
from tests.studies.truths import draw_outcomes
from tests.studies.usefulness import plant_score

Array = NDArray[np.float64]
Record = tuple[Any, Array]

NAME = "robustness.json"
SEED = 1953
SIZES = (5, 8, 15, 30, 80)
N_IMPORTERS = 40
N_DRAWS = 2048
WORST_COLUMN_C = 60.0
MONTH_DAYS = 30.0
# The fit is served where it is better by so many standard errors of the mean over boxes; below 0: no worse than noise.
GATES = (-2.0, -1.0, 0.0, 1.0)
FAULTY_SHARE, SWAPPED_SHARE, LOST_SHARE = 1.0 / 15.0, 0.1, 0.05
WORLDS = ("the model", "log-logistic tolerance", "heavy-tailed boxes", "lots that share a fate")
LOST_CHANCES = (0.0, 0.03, 0.97)


def recorded(importer: Importer, reference: Reference, days: Array, inside_c: Array) -> Any:
    """Return the lines as they would be with these days and temperatures, (lines,) each."""
    lines = importer.lines.copy()
    rows = [reference.genera[name] for name in lines["genus"]]
    threshold = np.array([row.chill_threshold_c for row in rows])
    sensitivity = np.array([reference.chill_classes[row.chill_class].sensitivity for row in rows])
    lines["log_days"] = constant_log_days(inside_c, days, threshold, sensitivity)
    return lines


def _some_boxes(importer: Importer, share: float, allowed: NDArray[np.bool_], rng: np.random.Generator) -> Any:
    """Return which lines belong to a share of the known boxes, among those allowed."""
    box = importer.observations.box
    boxes = np.unique(box[importer.known & allowed])
    n_known = len(np.unique(box[importer.known]))
    chosen = rng.choice(boxes, min(max(1, round(share * n_known)), len(boxes)), replace=False)
    return np.isin(box, chosen)


def _right(importer: Importer, counts: Array, reference: Reference, rng: np.random.Generator) -> Record:
    return importer.lines, counts


def _fahrenheit(importer: Importer, counts: Array, reference: Reference, rng: np.random.Generator) -> Record:
    """Boxes cool enough for the column to take their Fahrenheit."""
    fahrenheit = 32.0 + 1.8 * importer.inside_c
    faulty = _some_boxes(importer, FAULTY_SHARE, fahrenheit <= WORST_COLUMN_C, rng)
    return recorded(importer, reference, importer.days, np.where(faulty, fahrenheit, importer.inside_c)), counts


def _month_late(importer: Importer, counts: Array, reference: Reference, rng: np.random.Generator) -> Record:
    faulty = _some_boxes(importer, FAULTY_SHARE, np.ones(len(counts), dtype=bool), rng)
    return recorded(importer, reference, importer.days + MONTH_DAYS * faulty, importer.inside_c), counts


def _swapped(importer: Importer, counts: Array, reference: Reference, rng: np.random.Generator) -> Record:
    faulty = importer.known & (rng.random(len(counts)) < SWAPPED_SHARE)
    return importer.lines, np.where(faulty[:, None], counts[:, [2, 1, 0, 3]], counts)


def _lost_whole(importer: Importer, counts: Array, reference: Reference, rng: np.random.Generator) -> Record:
    """Boxes that die of something outside the clock: known boxes only, so that the score is of the others."""
    lost = _some_boxes(importer, LOST_SHARE, np.ones(len(counts), dtype=bool), rng)
    dead = np.column_stack([rng.multinomial(counts[:, 3].astype(np.int64), LOST_CHANCES), counts[:, 3]])
    return importer.lines, np.where(lost[:, None], dead, counts)


def left_out_scores(fit: TransitSurvival, known: Observed, seed: int) -> tuple[Array, Array]:
    """Return the log score of each known box by the fit without it and by the rules, (boxes,) each."""
    rules = draw_prior_posterior(fit.draws_.reference, N_DRAWS, seed=seed)
    log_p = box_log_likelihoods(known, fit.draws_, wrong=RATES)
    left_out = leave_one_out(log_p, np.ones(log_p.shape[1], dtype=bool))
    of_rules = box_log_likelihoods(known, rules, wrong=RATES)
    return left_out.log_mean(log_p), special.logsumexp(of_rules, axis=0) - np.log(N_DRAWS)


def stacked_weight(fit: Array, rules: Array) -> float:
    """Return the weight of the fit beside the rules that scores the boxes best, (boxes,) each."""
    weights = np.linspace(0.0, 1.0, 201)
    with np.errstate(divide="ignore"):
        mixed = np.logaddexp(np.log(weights)[:, None] + fit, np.log1p(-weights)[:, None] + rules)
    return float(weights[mixed.sum(axis=1).argmax()])


FAULTS: dict[str, Callable[[Importer, Array, Reference, np.random.Generator], Record]] = {
    "right": _right,
    "Fahrenheit": _fahrenheit,
    "a month late": _month_late,
    "healthy and dead swapped": _swapped,
    "lost whole": _lost_whole,
}


def scores(
    n_boxes: int,
    i: int,
    faults: tuple[str, ...] = tuple(FAULTS),
    *,
    plain: bool = False,
    n_weighed: int | None = None,
) -> dict[str, Any]:
    """Return what importer i's new boxes score by rules and by the fit of each record; `plain` fits know no strays."""
    reference = load_reference()
    rng = np.random.default_rng([SEED, n_boxes, i])
    importer = draw_importer(reference, n_boxes, rng=rng, new_quarter=NEXT_QUARTER)
    truth = draw_truth(reference, importer.observations, rng=rng)
    counts = draw_outcomes(importer, truth, WORLDS[i % len(WORLDS)], rng=rng)
    new = counts[~importer.known]
    by_rules = rules_of_thumb(importer, reference, seed=i)
    found: dict[str, Any] = {"boxes": n_boxes, "rules": plant_score(by_rules, new)}
    with threadpool_limits(1):
        for number, name in enumerate(faults):
            lines, told = FAULTS[name](importer, counts, reference, np.random.default_rng([SEED, n_boxes, i, number]))
            fit = TransitSurvival(
                reference, n_draws=N_DRAWS, n_weighed=n_weighed, random_state=i, strays=None if plain else RATES
            )
            try:
                fit.fit(lines[importer.known], told[importer.known])
            except (ArithmeticError, RuntimeError, ValueError) as fault:
                found[name] = f"{type(fault).__name__}: {str(fault)[:80]}"
                continue
            chances = fit.predict_proba(importer.new_lines)
            found[name] = plant_score(chances, new)
            served = left_out_scores(fit, observe(lines[importer.known], told[importer.known], reference), i)
            weight = stacked_weight(*served)
            found[f"{name}: stacked"] = plant_score(weight * chances + (1.0 - weight) * by_rules, new)
            difference = served[0] - served[1]
            found[f"{name}: left out"] = [
                float(difference.mean()),
                float(difference.std(ddof=1)) if n_boxes > 1 else 0.0,
            ]
            found[f"{name}: shipment sd"] = float(np.median(fit.draws_.parameters.scales["shipment"]))
            found[f"{name}: kappa"] = float(np.median(fit.draws_.parameters.kappa))
            found[f"{name}: effective"] = float(fit.diagnostics_["effective_draws"])
            found[f"{name}: pareto k"] = float(fit.diagnostics_["pareto_k"])
    found["true shipment sd"], found["true kappa"] = truth.scales["shipment"], truth.parameters["kappa"]
    return found


def summarise(rows: Sequence[dict[str, Any]], faults: tuple[str, ...] = tuple(FAULTS)) -> dict[str, Any]:
    """Return how each record's fit scores against rules of thumb and against the fit of the right record.

    Both with the upper 95 % limit of how much worse it is on average, over the importers whose fits stand.
    """
    result: dict[str, Any] = {"importers": len(rows), "rules": _mean([row["rules"] for row in rows])}
    for name in faults:
        stands = [row for row in rows if not isinstance(row[name], str) and not isinstance(row["right"], str)]
        own = np.array([row[name] for row in stands])
        result[name] = {
            "score": _mean(own),
            "worse than rules": _worse(np.array([row["rules"] for row in stands]) - own),
            "worse than right": _worse(np.array([row["right"] for row in stands]) - own),
            "shipment sd over truth": _mean([row[f"{name}: shipment sd"] / row["true shipment sd"] for row in stands]),
            "kappa over truth": _mean([row[f"{name}: kappa"] / row["true kappa"] for row in stands]),
            "least effective draws": round(min(row[f"{name}: effective"] for row in stands)) if stands else None,
            "stacked, worse than rules": _worse(np.array([row["rules"] - row[f"{name}: stacked"] for row in stands])),
            "served, worse than rules": {
                f"{errors:g} standard errors": _worse(np.array([_served(row, name, errors) for row in stands]))
                for errors in GATES
            },
            "refused": [row[name] for row in rows if isinstance(row[name], str)],
        }
    return result


def _served(row: dict[str, Any], name: str, errors: float) -> float:
    """Return by how much what is served is worse than the rules: the fit where it is better by so many errors."""
    mean, sd = row[f"{name}: left out"]
    served = mean > errors * sd / np.sqrt(row["boxes"])
    return row["rules"] - row[name] if served else 0.0


def _mean(values: Any) -> float | None:
    return round(float(np.mean(values)), 4) if len(values) else None


def _worse(by: Array) -> dict[str, float | None]:
    if len(by) < 2:  # one importer has no spread
        return {"mean": _mean(by), "upper": None}
    margin = float(stats.t.ppf(0.95, len(by) - 1) * by.std(ddof=1) / np.sqrt(len(by)))
    return {"mean": _mean(by), "upper": round(float(by.mean()) + margin, 4)}


def table(result: dict[str, Any]) -> str:
    """Return a stored result as Markdown, nats a plant."""
    lines = [
        "| boxes | fit | record | score | worse than rules (upper 95 %) | worse than the right record (upper 95 %) |",
        "|---|---|---|---|---|---|",
    ]
    for key, cell in result["cells"].items():
        n_boxes, kind = key.split(", ")
        for name in FAULTS:
            own = cell[name]
            worse = [f"{own[of]['mean']} ({own[of]['upper']})" for of in ("worse than rules", "worse than right")]
            lines.append(f"| {n_boxes} | {kind} | {name} | {own['score']} | {worse[0]} | {worse[1]} |")
    return "\n".join(lines)


def main() -> None:
    """Run the study, or with --table print its last result."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", type=int, nargs="+", default=SIZES)
    parser.add_argument("--importers", type=int, default=N_IMPORTERS)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--plain", action="store_true", help="by fits that know neither lost boxes nor wrong records")
    parser.add_argument("--table", action="store_true", help="print the last result and run nothing")
    options = parser.parse_args()
    about = {"seed": SEED, "model": model_digest(), **versions()}
    for n_boxes in () if options.table else options.sizes:
        jobs = (delayed(scores)(n_boxes, i, plain=options.plain) for i in range(options.importers))
        done = {**summarise(list(Parallel(options.processes)(jobs))), **about}
        cells = read(NAME).get("cells", {})
        write(NAME, {"cells": {**cells, f"{n_boxes}, {'plain' if options.plain else 'robust'}": done}})
    print(table(read(NAME)))  # noqa: T201 - a command's answer


if __name__ == "__main__":
    main()
