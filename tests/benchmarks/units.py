"""Hold and compare in units of fixed numpy work: ``python -m tests.benchmarks.units`` prints two tables.

A unit is one exponential of 4,096 x 240 doubles and one sort of a million, taken in the same run: it travels from one
computer to another, as seconds do not. Each run is made twice, in processes of their own: as the processor is, and with
numpy told to leave its wide vectors alone (`NPY_DISABLE_CPU_FEATURES`), which imitates an ordinary one.
"""

import argparse
import json
import math
import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from app.comparing.compare import answer_compare
from app.comparing.hold import answer_hold
from app.schemas import CompareRequest, HoldRequest
from app.serving import Engine

ROOT = Path(__file__).resolve().parents[2]
REPEATS = 5
NO_WIDE_VECTORS = "X86_V4 AVX512_ICL AVX512_SPR"
NO_WIDE_LINEAR_ALGEBRA = "Haswell"
LIMIT_SECONDS = 600
FEWER_DRAWS = 1024
COMPARE = "compare, 2 routes x 10 lines x 4,096 draws"
GENERA = [
    "Aglaonema",
    "Hoya",
    "Alocasia",
    "Monstera",
    "Goeppertia",
    "Philodendron",
    "Begonia",
    "Peperomia",
    "Epipremnum",
    "Syngonium",
]


class Cost(NamedTuple):
    """Best times of several runs, seconds: of all threads together, and on the wall."""

    cpu: float
    wall: float


class Row(NamedTuple):
    """One row of a table: what was done, what it cost in units, and the most units that it may cost."""

    what: str
    cost: Cost
    unit: Cost
    target: float

    def __str__(self) -> str:
        cpu, wall = self.cost.cpu / self.unit.cpu, self.cost.wall / self.unit.wall
        verdict = "met" if cpu <= self.target else "met on the wall" if wall <= self.target else "missed"
        return (
            f"| {self.what} | {cpu:.1f} | {wall:.1f} | {1000 * self.cost.wall:.0f} ms | {self.target:g} | {verdict} |"
        )


def batch() -> dict[str, Any]:
    """Return an invented batch: 10 lines in one box, 2 routes, 4,096 draws."""
    return {
        "origin": "SRG",
        "destination": "GLA",
        "lines": [{"genus": g, "quantity": 4, "unit_cost": 8, "sale_value": 30} for g in GENERA],
        "routes": [
            {"name": "courier", "service": "courier", "freight": 150},
            {"name": "air cargo", "service": "air_cargo", "freight": 320},
        ],
    }


def compare_request() -> CompareRequest:
    """Return the comparison that is timed."""
    return CompareRequest.model_validate_json(json.dumps({**batch(), "ship_date": "2027-01-11"}))


def hold_request(**also: object) -> HoldRequest:
    """Return the hold that is timed: 30 dates."""
    asked = {**batch(), "earliest": "2027-01-11", "latest": "2027-02-09", **also}
    return HoldRequest.model_validate_json(json.dumps(asked))


def unit_of_work() -> Callable[[], object]:
    """Return the fixed work."""
    rng = np.random.default_rng(1)
    exponents, numbers = rng.normal(size=(4096, 240)), rng.normal(size=1_000_000)
    out, work = np.empty_like(exponents), np.empty_like(numbers)

    def run() -> None:
        np.exp(exponents, out=out)
        work[:] = numbers
        work.sort()

    return run


def best(*runs: Callable[[], object], repeats: int = REPEATS) -> list[Cost]:
    """Return the best times of each of several runs, taken in turn."""
    cpu, wall = [math.inf] * len(runs), [math.inf] * len(runs)
    for run in runs:
        run()
    for _ in range(repeats):
        for i, run in enumerate(runs):
            start = time.process_time(), time.perf_counter()
            run()
            cpu[i] = min(cpu[i], time.process_time() - start[0])
            wall[i] = min(wall[i], time.perf_counter() - start[1])
    return [Cost(*cost) for cost in zip(cpu, wall, strict=True)]


def measure(repeats: int = REPEATS) -> dict[str, Any]:
    """Return what the unit, compare and hold cost in this process, and whether its numpy has wide vectors."""
    engine = Engine.load()
    compare, hold, dragged = compare_request(), hold_request(), hold_request(draws=FEWER_DRAWS)
    unit, *costs = best(
        unit_of_work(),
        lambda: answer_compare(compare, engine),
        lambda: answer_hold(dragged, engine),
        lambda: answer_hold(hold, engine),
        repeats=repeats,
    )
    return {"wide": has_wide_vectors(), "unit": unit, "costs": costs}


def has_wide_vectors() -> bool:
    """Return whether numpy uses vectors of 512 bits here."""
    features: dict[str, bool] = np._core._multiarray_umath.__cpu_features__  # type: ignore[attr-defined]
    return features.get("AVX512F", False) and "X86_V4" not in os.environ.get("NPY_DISABLE_CPU_FEATURES", "")


def rows_of(measured: dict[str, Any]) -> list[Row]:
    """Return the rows of a table."""
    unit = Cost(*measured["unit"])
    names = (
        (COMPARE, 8),
        (f"hold, 30 dates x 2 routes x {FEWER_DRAWS:,} draws", 12),
        ("hold, 30 dates x 2 routes x 4,096 draws", 45),
    )
    return [Row(what, Cost(*cost), unit, target) for (what, target), cost in zip(names, measured["costs"], strict=True)]


def in_a_process(disabled: str, repeats: int) -> dict[str, Any]:
    """Return what `measure` says in a process whose numpy leaves some of the processor alone."""
    environment = dict(os.environ)
    if disabled:
        environment |= {"NPY_DISABLE_CPU_FEATURES": disabled, "OPENBLAS_CORETYPE": NO_WIDE_LINEAR_ALGEBRA}
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.units", "--here", "--repeats", str(repeats)],
        cwd=ROOT,
        env=environment,
        stdout=subprocess.PIPE,
        timeout=LIMIT_SECONDS,
        check=True,
    )
    measured: dict[str, Any] = json.loads(done.stdout)
    return measured


def tables(repeats: int = REPEATS) -> str:
    """Return both tables as text; one where the processor has no wide vectors."""
    text = []
    for disabled in ("", NO_WIDE_VECTORS):
        measured = in_a_process(disabled, repeats)
        if disabled and measured["wide"]:
            continue
        unit = Cost(*measured["unit"])
        title = "with wide vectors" if measured["wide"] else "without wide vectors"
        text.append(f"{title}: a unit took {1000 * unit.cpu:.1f} ms of CPU, {1000 * unit.wall:.1f} ms on the wall\n")
        text.append("| what | units, CPU | units, wall | wall | at most | |\n|---|---|---|---|---|---|")
        text += [*map(str, rows_of(measured)), ""]
    return "\n".join(text)


def main() -> None:
    """Print the tables, or with --here what this process measures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--here", action="store_true", help="measure in this process and print JSON")
    parser.add_argument("--repeats", type=int, default=REPEATS)
    asked = parser.parse_args()
    print(json.dumps(measure(asked.repeats)) if asked.here else tables(asked.repeats))


if __name__ == "__main__":
    main()
