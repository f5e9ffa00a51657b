"""Measure speed as ratios taken in one run: ``python -m tests.benchmarks`` prints a table.

Ratios, since machines differ and are noisy; each side is run alternately and its best time counts.
"""

import asyncio
import json
import math
import subprocess
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

import httpx
import numpy as np
from fastapi import Request, Response

from app.http.exchange import in_worker
from app.http.pools import pools_of
from app.main import create_app
from app.schemas.request_body import RequestBody
from app.schemas.risk import RiskRequest
from app.serving.engine import Engine
from app.settings import Settings
from tests.benchmarks import units

ROOT = Path(__file__).resolve().parents[2]
REPEATS = 5
BASELINE = "import fastapi, uvicorn, numpy, scipy.special, sqlalchemy"


class Ratio(NamedTuple):
    """One row of the table."""

    what: str
    seconds: float
    against: str
    baseline_seconds: float
    target: float

    def __str__(self) -> str:
        ratio = self.seconds / self.baseline_seconds
        verdict = "met" if ratio <= self.target else "missed"
        return (
            f"| {self.what} | {1000 * self.seconds:.1f} ms | {self.against} | {1000 * self.baseline_seconds:.2f} ms | "
            f"{ratio:.2f} | {self.target:g} | {verdict} |"
        )


def risk() -> list[Ratio]:
    """Risk of 10,000 different queries against an endpoint that only validates and echoes them."""
    rng = np.random.default_rng(1)
    engine = Engine.load()
    genera = rng.choice(list(engine.reference.genera), 10_000)
    queries = [
        {
            "genus": str(genus),
            "transit_days": round(float(days), 2),
            "temperature": {"inside_c": round(float(inside), 1)},
        }
        for genus, days, inside in zip(genera, rng.uniform(2, 15, 10_000), rng.uniform(8, 30, 10_000), strict=True)
    ]
    data = json.dumps({"queries": queries}).encode()
    app = create_app(Settings())
    body = RequestBody(RiskRequest)

    @app.post("/echo")
    async def echo(request: Request) -> Response:
        sent = await request.body()
        return await in_worker(request, pools_of(request).computing, lambda _: body.parse(sent))

    async def measure() -> list[float]:
        times = [math.inf, math.inf]
        async with app.router.lifespan_context(app):
            transport = httpx.ASGITransport(app=app)
            async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as client:
                for _ in range(REPEATS + 1):
                    for i, path in enumerate(("/v1/risk", "/echo")):
                        start = time.perf_counter()
                        answer = await client.post(path, content=data, headers={"Content-Type": "application/json"})
                        times[i] = min(times[i], time.perf_counter() - start)
                        answer.raise_for_status()
        return times

    risk_s, echo_s = asyncio.run(measure())
    return [Ratio("risk, 10,000 queries", risk_s, "validating and echoing them", echo_s, 1.5)]


def start_and_memory() -> list[Ratio]:
    """Start of the server to its first answer, and idle memory, against a process that only imports."""
    starts, imports, memory, baseline_memory = math.inf, math.inf, math.inf, math.inf
    with TemporaryDirectory() as folder:
        for i in range(REPEATS):
            port = 18_600 + i
            begin = time.perf_counter()
            with subprocess.Popen(
                [sys.executable, "-m", "app", "serve", "--port", str(port)],
                cwd=ROOT,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            ) as server:
                until_answer(f"http://127.0.0.1:{port}/health")
                starts = min(starts, time.perf_counter() - begin)
                memory = min(memory, resident_mb(server.pid))
                server.terminate()
            begin = time.perf_counter()
            code = f"{BASELINE}\nprint(1, flush=True)\nimport sys\nsys.stdin.read()"
            with subprocess.Popen(
                [sys.executable, "-c", code], cwd=folder, stdout=subprocess.PIPE, stdin=subprocess.PIPE
            ) as baseline:
                assert baseline.stdout is not None
                baseline.stdout.readline()
                imports = min(imports, time.perf_counter() - begin)
                baseline_memory = min(baseline_memory, resident_mb(baseline.pid))
                baseline.terminate()
    print(
        f"idle memory: {memory:.0f} MB against {baseline_memory:.0f} MB: {memory / baseline_memory:.2f} (target 1.5)\n"
    )
    return [Ratio("start to first answer", starts, "only importing the libraries", imports, 1.4)]


def until_answer(url: str) -> None:
    """Ask until the server answers, at most 20 s."""
    deadline = time.perf_counter() + 20
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


def main() -> None:
    """Print the table."""
    print(units.tables())
    rows = [*risk(), *start_and_memory()]
    print("| what | time | against | time | ratio | target | |\n|---|---|---|---|---|---|---|")
    for row in rows:
        print(row)


if __name__ == "__main__":
    main()
