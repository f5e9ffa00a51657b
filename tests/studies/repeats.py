"""Whether a fit made again says the same: ``python -m tests.studies.repeats``.

Small, one-sided and odd ledgers, 8 to 300 boxes, each fitted as a refit fits them with several seeds. Of each are told
the effective draws, the Pareto k, and by how much the ends of the 80 % intervals that a user sees move from the first
seed to the others, in widths of the interval: chances of healthy after some days, time ratios of genera and sellers,
and the scales. Everything is invented.
"""

import argparse
from collections.abc import Callable
from typing import Any

import numpy as np
from joblib import Parallel, delayed
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from app.serving import STORED_DRAWS
from model.exposure.table import constant_log_days
from model.fit.box_predictive import described, line_predictors
from model.fit.inner_mode import ConvergenceError
from model.fit.lines import Lines
from model.fit.survival import TransitSurvival
from model.predict import MarginalChances
from model.reference.tables import Reference, load_reference
from model.synthetic import Design, counts_of, draw_counts, draw_design, draw_truth
from tests.studies.record import model_digest, read, versions, write

Array = NDArray[np.float64]
Ledger = tuple[Lines, Array]

NAME = "repeats.json"
SEED = 1812
SEEDS = 4
ASKED_DAYS = (2.0, 4.0, 6.0, 9.0, 14.0)
MOST_MOVED = 0.1


def drawn(n_boxes: int, **design: int) -> Callable[[Reference, np.random.Generator], Ledger]:
    """Return a ledger whose truth is drawn from the prior."""

    def ledger(reference: Reference, rng: np.random.Generator) -> Ledger:
        own = draw_design(reference, n_boxes, rng=rng, **design)
        counts = counts_of(draw_counts(own.observations, draw_truth(reference, own.observations, rng=rng), rng=rng))
        return own.lines, counts

    return ledger


def counted(n_boxes: int, shares: tuple[float, float, float]) -> Callable[[Reference, np.random.Generator], Ledger]:
    """Return a ledger whose plants share the chances of healthy, damaged and dead, whatever the days."""

    def ledger(reference: Reference, rng: np.random.Generator) -> Ledger:
        own = draw_design(reference, n_boxes, rng=rng)
        return own.lines, _counts(own, shares, rng)

    return ledger


def of_a_week(n_boxes: int) -> Callable[[Reference, np.random.Generator], Ledger]:
    """Return a ledger of boxes that all take four to six days: it says nothing of how losses climb."""

    def ledger(reference: Reference, rng: np.random.Generator) -> Ledger:
        own = draw_design(reference, n_boxes, rng=rng)
        lines = own.lines.copy()
        days = rng.uniform(4.0, 6.0, n_boxes)[own.observations.box]
        rows = [reference.genera[name] for name in lines["genus"]]
        threshold = np.array([row.chill_threshold_c for row in rows])
        sensitivity = np.array([reference.chill_classes[row.chill_class].sensitivity for row in rows])
        lines["log_days"] = constant_log_days(own.inside_c, days, threshold, sensitivity)
        return lines, _counts(own, (0.8, 0.12, 0.08), rng)

    return ledger


def _counts(design: Design, shares: tuple[float, float, float], rng: np.random.Generator) -> Array:
    sent = design.observations.sent.astype(np.int64)
    return np.column_stack([rng.multinomial(sent, shares), sent]).astype(float)


LEDGERS = {
    **{f"{n} boxes": drawn(n) for n in (8, 15, 30, 80, 300)},
    "30 boxes, all healthy": counted(30, (1.0, 0.0, 0.0)),
    "30 boxes, 97 % healthy": counted(30, (0.97, 0.02, 0.01)),
    "15 boxes, all dead": counted(15, (0.0, 0.0, 1.0)),
    "30 boxes, losses that ignore days": counted(30, (0.7, 0.15, 0.15)),
    "15 boxes of 4 to 6 days": of_a_week(15),
    "30 boxes of one seller": drawn(30, n_sellers=1),
    "30 boxes of one genus": drawn(30, n_genera=1),
    "80 boxes of 60 genera": drawn(80, n_genera=60),
    "80 boxes of 20 sellers": drawn(80, n_sellers=20),
}


def intervals(fit: TransitSurvival, lines: Lines, reference: Reference) -> Array:
    """Return the ends of the 80 % intervals of what a user sees, (shown, 2)."""
    draws = fit.draws_
    asked = np.repeat(lines[:1], len(ASKED_DAYS))
    row = reference.genera[str(asked["genus"][0])]
    sensitivity = reference.chill_classes[row.chill_class].sensitivity
    n = len(asked)
    asked["log_days"] = constant_log_days(
        np.full(n, 20.0), np.array(ASKED_DAYS), np.full(n, row.chill_threshold_c), np.full(n, sensitivity)
    )
    chances = MarginalChances(draws)
    shown = [chances(row.eta)[0].astype(float) for row in line_predictors(*described(asked, reference), draws)]
    kappa = draws.parameters.kappa
    for kind in ("genus", "seller"):
        shown += [-effect / kappa for effect in draws.effects[kind].values()]
    shown += [np.log(values) for values in draws.parameters.scales.values()]
    return np.array([np.quantile(values, (0.1, 0.9)) for values in shown])


def repeated(name: str, *, n_seeds: int = SEEDS, n_weighed: int | None = None) -> dict[str, Any]:
    """Return how a ledger's fits with several seeds do."""
    reference = load_reference()
    lines, counts = LEDGERS[name](reference, np.random.default_rng([SEED, *name.encode()]))
    ends, found = [], []
    with threadpool_limits(1):
        for seed in range(n_seeds):
            model = TransitSurvival(reference, n_draws=STORED_DRAWS, n_weighed=n_weighed, random_state=seed)
            try:
                model.fit(lines, counts)
            except ConvergenceError as fault:
                return {"refused": str(fault)}
            ends.append(intervals(model, lines, reference))
            found.append(model.diagnostics_)
    moved = np.abs(np.stack(ends[1:]) - ends[0]) / np.diff(ends[0], axis=1)
    return {
        "effective draws": round(min(one["effective_draws"] for one in found)),
        "pareto k": round(max(one["pareto_k"] for one in found), 2),
        "moved by seeds": sum(bool(one["moves"]) for one in found),
        "intervals": int(moved[0, :, 0].size),
        "most moved": round(float(moved.max()), 3),
        "median of the most moved by seed": round(float(np.median(moved.max(axis=(1, 2)))), 3),
        "ends moved by more than a tenth": round(float((moved > MOST_MOVED).mean()), 4),
    }


def table(result: dict[str, Any]) -> str:
    """Return a stored result as Markdown."""
    lines = [
        "| ledger | least effective draws | highest Pareto k | seeds with moves | most an end moved, in widths |"
        " ends moved by more than a tenth |",
        "|---|---|---|---|---|---|",
    ]
    for name, cell in result["ledgers"].items():
        if "refused" in cell:
            lines.append(f"| {name} | refused | | | | |")
            continue
        share = f"{100 * cell['ends moved by more than a tenth']:.1f} %"
        shown = (cell["effective draws"], cell["pareto k"], cell["moved by seeds"], cell["most moved"], share)
        lines.append(f"| {name} | {' | '.join(str(value) for value in shown)} |")
    return "\n".join(lines)


def main() -> None:
    """Run the study, or with --table print its last result."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=SEEDS)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--table", action="store_true", help="print the last result and run nothing")
    options = parser.parse_args()
    if not options.table:
        done = Parallel(options.processes)(delayed(repeated)(name, n_seeds=options.seeds) for name in LEDGERS)
        about = {"seed": SEED, "seeds": options.seeds, "model": model_digest(), **versions()}
        write(NAME, {"ledgers": dict(zip(LEDGERS, done, strict=True)), **about})
    print(table(read(NAME)))  # noqa: T201 - a command's answer


if __name__ == "__main__":
    main()
