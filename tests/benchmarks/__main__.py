"""Measure speed as ratios taken in one run: ``python -m tests.benchmarks`` prints tables, and what got slower.

Ratios, since machines differ and are noisy; sides are run in turn and the best time of each counts. `last.json` has the
ratios that were committed last (``--record`` writes them): what is more than a fifth slower is said. ``--smallest`` is
what CI runs. Whatever goes wrong, it ends by itself: at its limit, and no process that it started is left.
"""

import argparse
import json
import math
import signal
import subprocess
import sys
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from types import FrameType

import httpx

from app.comparing import answer_compare
from app.serving import Engine
from tests.benchmarks import risk, units
from tests.benchmarks.risk import Ratio
from tests.benchmarks.units import Cost

ROOT = Path(__file__).resolve().parents[2]
LAST = Path(__file__).with_name("last.json")
REPEATS, FEW_REPEATS = 5, 2
LIMIT_SECONDS, SMALLEST_LIMIT_SECONDS = 900, 55
START_SECONDS = 60.0
# So much more than the last time is said; less is noise.
SLOWER = 1.2
BASELINE = "import fastapi, uvicorn, numpy, scipy.special, sqlalchemy"
HEADER = "| what | wall | against | wall | ratio, CPU | ratio, wall | at most | |\n|---|---|---|---|---|---|---|---|"


def start_and_memory() -> list[Ratio]:
    """Start of the server to its first answer, and idle memory, against a process that only imports."""
    starts, imports, memory, baseline_memory = math.inf, math.inf, math.inf, math.inf
    with TemporaryDirectory() as folder:
        for i in range(REPEATS):
            port = 18_600 + i
            begin = time.perf_counter()
            serve = [sys.executable, "-m", "app", "serve", "--port", str(port)]
            with subprocess.Popen(serve, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as server:
                try:
                    until_answer(f"http://127.0.0.1:{port}/health")
                    starts = min(starts, time.perf_counter() - begin)
                    memory = min(memory, resident_mb(server.pid))
                finally:
                    # Leaving the block waits for it, for ever if it does not end.
                    server.kill()
            begin = time.perf_counter()
            code = f"{BASELINE}\nprint(1, flush=True)\nimport sys\nsys.stdin.read()"
            pipe = subprocess.PIPE
            with subprocess.Popen([sys.executable, "-c", code], cwd=folder, stdout=pipe, stdin=pipe) as baseline:
                try:
                    assert baseline.stdout is not None
                    baseline.stdout.readline()
                    imports = min(imports, time.perf_counter() - begin)
                    baseline_memory = min(baseline_memory, resident_mb(baseline.pid))
                finally:
                    baseline.kill()
    print(
        f"idle memory: {memory:.0f} MB against {baseline_memory:.0f} MB: {memory / baseline_memory:.2f} (at most 1.5)\n"
    )
    alone = Cost(imports, imports)
    return [Ratio("start to first answer", Cost(starts, starts), "only importing the libraries", alone, 1.4)]


def until_answer(url: str) -> None:
    """Ask until the server answers, at most `START_SECONDS`."""
    deadline = time.perf_counter() + START_SECONDS
    while True:
        try:
            httpx.get(url).raise_for_status()
        except httpx.HTTPError:
            if time.perf_counter() > deadline:
                raise
            time.sleep(0.005)
        else:
            return


def resident_mb(pid: int) -> float:
    """Return the resident memory of a process, MB (Linux)."""
    for line in Path(f"/proc/{pid}/status").read_text(encoding="utf-8").splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1]) / 1024
    raise ProcessLookupError(pid)


def smallest() -> list[Ratio]:
    """Return the rows that take seconds: a compare, and risk of many lines."""
    engine, request = Engine.load(), units.compare_request()
    unit, compare = units.best(units.unit_of_work(), lambda: answer_compare(request, engine), repeats=FEW_REPEATS)
    return [Ratio(units.COMPARE, compare, "the unit", unit, 8), *risk.many_lines(FEW_REPEATS)]


def whole() -> list[Ratio]:
    """Return all rows."""
    measured = units.in_a_process("", REPEATS)
    unit = Cost(*measured["unit"])
    of_units = [Ratio(row.what, row.cost, "the unit", unit, row.target) for row in units.rows_of(measured)]
    return [*of_units, *risk.rows(REPEATS), *start_and_memory()]


def slower(rows: Sequence[Ratio], last: Mapping[str, float]) -> list[str]:
    """Return a sentence for each row whose ratio of CPU is more than a fifth above the last one."""
    said = []
    for row in rows:
        before = last.get(row.what)
        if before is not None and row.of_cpu > SLOWER * before:
            said.append(
                f"slower: {row.what}: {row.of_cpu:.2f}, {100 * (row.of_cpu / before - 1):.0f} % above {before:.2f}"
            )
    return said


def _end(_number: int, _frame: FrameType | None) -> None:
    raise TimeoutError("the benchmarks took too long: nothing is said of what was not measured")


def main() -> None:
    """Print the table, and what got slower."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--smallest", action="store_true", help="only what takes seconds")
    parser.add_argument("--record", action="store_true", help="write the ratios down, to be compared with")
    asked = parser.parse_args()
    signal.signal(signal.SIGALRM, _end)
    signal.alarm(SMALLEST_LIMIT_SECONDS if asked.smallest else LIMIT_SECONDS)
    rows = smallest() if asked.smallest else whole()
    print(HEADER)
    for row in rows:
        print(row)
    last: dict[str, float] = json.loads(LAST.read_text(encoding="utf-8"))
    said = slower(rows, last)
    print("\n".join(said) or f"nothing is more than {100 * (SLOWER - 1):.0f} % slower than the last ratios")
    if asked.record:
        now = last | {row.what: round(row.of_cpu, 3) for row in rows}
        LAST.write_text(json.dumps(now, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
