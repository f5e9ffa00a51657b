"""CPU time of the worth of knowing on top of what a compare follows: ``python -m tests.benchmarks.worth_knowing``.

Two routes, 4,096 draws, one to thirty genera; the target is 150 ms for ten. Processor time of the process, the best of
several runs taken in turn.
"""

import json
import math
import time
from collections.abc import Callable

from app.batch.batch import prepare
from app.comparing.compare import answer_compare
from app.comparing.simulated import SimulatedBatch
from app.comparing.work_limit import work_of
from app.comparing.worth_knowing import answer_worth_knowing
from app.schemas.compare import CompareRequest
from app.schemas.worth_knowing import WorthKnowingRequest
from app.serving.engine import Engine
from tests.benchmarks.units import REPEATS, batch

TARGET_MS = 150


def cpu_ms(*runs: Callable[[], object]) -> list[float]:
    """Return the best processor time of each of several runs, taken in turn, ms."""
    times = [math.inf] * len(runs)
    for run in runs:
        run()
    for _ in range(2 * REPEATS):
        for i, run in enumerate(runs):
            start = time.process_time()
            run()
            times[i] = min(times[i], 1000 * (time.process_time() - start))
    return times


def main() -> None:
    """Print the table."""
    engine = Engine.load()
    print("| genera | compare | its routes followed | worth knowing, all of it | on top | estimated on top |")
    print("|---|---|---|---|---|---|")
    for n in (1, 3, 10, 30):
        genera = list(engine.reference.genera)[:n]
        lines = [{"genus": genus, "quantity": 4, "unit_cost": 8, "sale_value": 30} for genus in genera]
        body = json.dumps({**batch(), "lines": lines, "ship_date": "2027-01-11"})
        compared = CompareRequest.model_validate_json(body)
        request = WorthKnowingRequest.model_validate_json(body)
        prepared = prepare(request, engine, request.ship_date)
        plans = [route.plan for route in prepared.routes]
        estimated = work_of(prepared, plans, worth_knowing=True).ns - work_of(prepared, plans).ns

        def followed() -> object:
            return SimulatedBatch(request, prepare(request, engine, request.ship_date), engine).routes()  # noqa: B023

        compare_ms, routes_ms, all_ms = cpu_ms(
            lambda: answer_compare(compared, engine),  # noqa: B023
            followed,
            lambda: answer_worth_knowing(request, engine),  # noqa: B023
        )
        print(
            f"| {n} | {compare_ms:.0f} ms | {routes_ms:.0f} ms | {all_ms:.0f} ms | {all_ms - routes_ms:.0f} ms | "
            f"{estimated * request.draws / 1e6:.0f} ms |"
        )
    print(f"Target: at most {TARGET_MS} ms on top for ten genera.")


if __name__ == "__main__":
    main()
