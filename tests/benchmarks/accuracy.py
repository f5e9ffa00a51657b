"""Error of an answer against its draws: ``python -m tests.benchmarks.accuracy`` prints a table and writes the plot.

The same comparison is asked with many seeds. The error of a mean margin, and of the margin's 5 % quantile, is its root
mean square distance from that of all draws of all seeds together, as a share of the margin's standard deviation.
"""

import argparse
import json
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import matplotlib as mpl
import numpy as np
from numpy.typing import NDArray

from app.batch import prepare
from app.comparing import SimulatedBatch
from app.schemas import CompareRequest
from app.serving import Engine
from model.decision import summarise
from tests.benchmarks.units import batch

PLOT = Path(__file__).with_name("accuracy.svg")
DRAWS = (256, 512, 1024, 2048, 4096)
SEEDS = 64
# Of the standard deviation, at 4,096 draws.
MOST_OF_MEAN, MOST_OF_P05 = 0.006, 0.06
DATES = ("2027-01-11", "2027-07-12")


class Errors(NamedTuple):
    """Root mean square errors of one route's margin, as shares of its standard deviation."""

    mean: float
    p05: float


def margins(engine: Engine, ship_date: str, draws: int, seed: int) -> list[NDArray[np.float64]]:
    """Return the margins, (draws,), of each route of the invented batch."""
    asked = {**batch(), "ship_date": ship_date, "draws": draws, "seed": seed}
    request = CompareRequest.model_validate_json(json.dumps(asked))
    simulated = SimulatedBatch(request, prepare(request, engine, request.ship_date), engine)
    return [route.money.margin for route in simulated.routes()]


def errors(engine: Engine, ship_date: str, draws: Sequence[int], seeds: int) -> list[list[Errors]]:
    """Return the errors of each route, (draws, routes)."""
    by_draws = [[margins(engine, ship_date, n, seed) for seed in range(1, seeds + 1)] for n in draws]
    truth = [np.concatenate([one[route] for one in by_draws[-1]]) for route in range(len(by_draws[-1][0]))]
    found = []
    for answers in by_draws:
        row = []
        for route, all_draws in enumerate(truth):
            summaries = [summarise(answer[route]) for answer in answers]
            wanted, sd = summarise(all_draws), float(all_draws.std())
            off = [(own.mean - wanted.mean, own.p05 - wanted.p05) for own in summaries]
            row.append(Errors(*(np.sqrt(np.mean(np.square(off), axis=0)) / sd).tolist()))
        found.append(row)
    return found


def main() -> None:
    """Print the table and write the plot."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=SEEDS)
    seeds = parser.parse_args().seeds
    engine = Engine.load()
    names = [route["name"] for route in batch()["routes"]]
    found = {date: errors(engine, date, DRAWS, seeds) for date in DATES}
    print("| ship date | route | draws | mean margin, % of sd | its 5 % quantile, % of sd |\n|---|---|---|---|---|")
    for date, rows in found.items():
        for route, name in enumerate(names):
            for n, row in zip(DRAWS, rows, strict=True):
                print(f"| {date} | {name} | {n:,} | {100 * row[route].mean:.2f} | {100 * row[route].p05:.1f} |")
    plot(found, names)


def plot(found: dict[str, list[list[Errors]]], names: Sequence[str]) -> None:
    """Write error against draws, both on log scales."""
    mpl.use("svg")
    from matplotlib import pyplot as plt  # after the choice of backend

    figure, axes = plt.subplots(1, 2, figsize=(8, 3.2), layout="constrained", sharex=True)
    what = (("mean", "mean margin", MOST_OF_MEAN), ("p05", "its 5 % quantile", MOST_OF_P05))
    for ax, (field, title, most) in zip(axes, what, strict=True):
        for date, rows in found.items():
            for route, name in enumerate(names):
                ax.loglog(
                    DRAWS, [100 * getattr(row[route], field) for row in rows], "o-", label=f"{name}, {date}", ms=4
                )
        if field == "mean":
            ax.loglog(DRAWS, [100 / np.sqrt(n) for n in DRAWS], "--", color="#777", label="independent draws")
        ax.plot(DRAWS[-1], 100 * most, "_", color="#b00", ms=24, mew=2)
        ax.set(title=title, xlabel="draws", ylabel="rms error, % of sd")
        ax.grid(visible=True, which="major", alpha=0.3)
    axes[0].legend(fontsize=7)
    figure.savefig(PLOT, metadata={"Date": None})


if __name__ == "__main__":
    main()
