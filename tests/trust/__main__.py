"""What cheap requests cost: ``python -m tests.trust`` prints a table of CPU seconds, memory and refusals.

Each is asked in a process of its own, with one thread of linear algebra. `README.md` beside this file has the last run.
"""

import json
import os
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from typing import Any

from pydantic import BaseModel

from app.comparing.compare import answer_compare
from app.comparing.hold import answer_hold
from app.comparing.order_size import answer_order_size
from app.comparing.wish_list import answer_wish_list
from app.comparing.worth_knowing import answer_worth_knowing
from app.ledger.csv_file import parse_ledger
from app.problems import Problem
from app.records.ledger import REQUIRED_COLUMNS
from app.risk.risk import answer_risk
from app.schemas.compare import CompareRequest
from app.schemas.hold import HoldRequest
from app.schemas.order_size import OrderSizeRequest
from app.schemas.request_body import RequestBody
from app.schemas.risk import RiskRequest
from app.schemas.wish_list import WishListRequest
from app.schemas.worth_knowing import WorthKnowingRequest
from app.serving.engine import Engine
from tests.benchmarks.units import batch as timed_batch
from tests.moments import NOW

LANE = {"origin": "BKK", "destination": "DUB", "service": "courier"}
HEADER = ",".join(REQUIRED_COLUMNS).encode() + b"\n"
BATCH = timed_batch()
TEN_ROUTES = [{"name": f"courier {i}", "service": "courier", "freight": 150 + i} for i in range(10)]
APART = [route | {"travel": "apart", "boxes": 100} for route in TEN_ROUTES]


def risk(n: int, temperature: dict[str, Any], days: float = 2.0) -> bytes:
    """Return a body of queries whose days all differ."""
    query = {"genus": "Hoya", "ship_date": "2027-01-11", "temperature": temperature}
    return json.dumps({"queries": [query | {"transit_days": days + i / 1000} for i in range(n)]}).encode()


def batch(**fields: Any) -> bytes:
    """Return the body of a batch."""
    return json.dumps(BATCH | fields).encode()


def asked(model: type[BaseModel], answer: Callable[[Any, Engine], object], body: bytes) -> Callable[[Engine], object]:
    """Return what reads a body and answers."""
    return lambda engine: answer(RequestBody(model).parse(body), engine)


def lines(n: int, **fields: Any) -> list[dict[str, Any]]:
    """Return so many lines."""
    return [BATCH["lines"][i % len(BATCH["lines"])] | {"cultivar": f"No. {i}"} | fields for i in range(n)]


def file(data: bytes) -> Callable[[Engine], object]:
    """Return what reads a CSV file."""
    return lambda engine: parse_ledger(data, engine.reference, now=NOW)


DAILY = {"daily": [{"min_c": 10, "max_c": 20}] * 60}
MONDAY = {"ship_date": "2027-01-11"}
CASES: dict[str, Callable[[], Callable[[Engine], object]]] = {
    "risk, one line": lambda: asked(RiskRequest, answer_risk, risk(1, {"inside_c": 20})),
    "risk, 10,000 constant temperatures": lambda: asked(RiskRequest, answer_risk, risk(10_000, {"inside_c": 20})),
    "risk, 250 seasonal": lambda: asked(RiskRequest, answer_risk, risk(250, LANE)),
    "risk, 250 seasonal of 80 days": lambda: asked(RiskRequest, answer_risk, risk(250, LANE, 80)),
    "risk, 10,000 seasonal": lambda: asked(RiskRequest, answer_risk, risk(10_000, LANE)),
    "risk, 1,000 day by day, 80 days": lambda: asked(RiskRequest, answer_risk, risk(1_000, DAILY, 80)),
    "compare, 10 lines x 2 routes": lambda: asked(CompareRequest, answer_compare, batch(**MONDAY)),
    "compare, 65,536 draws x 10 routes": lambda: asked(
        CompareRequest, answer_compare, batch(**MONDAY, draws=65_536, routes=TEN_ROUTES)
    ),
    "hold, 30 days x 2 routes": lambda: asked(
        HoldRequest, answer_hold, batch(earliest="2027-01-11", latest="2027-02-09")
    ),
    "hold, 92 days x 2 routes": lambda: asked(
        HoldRequest, answer_hold, batch(earliest="2027-01-11", latest="2027-04-12")
    ),
    "order size, 10 routes apart": lambda: asked(
        OrderSizeRequest,
        answer_order_size,
        batch(**MONDAY, routes=APART, target={"line": 0, "healthy": 2000, "confidence": 0.9}),
    ),
    "wish list, 200 wanted lines x 10 routes": lambda: asked(
        WishListRequest, answer_wish_list, batch(**MONDAY, routes=TEN_ROUTES, lines=lines(200, wanted_healthy=20))
    ),
    "worth knowing, 200 lines x 10 routes": lambda: asked(
        WorthKnowingRequest, answer_worth_knowing, batch(**MONDAY, routes=TEN_ROUTES, lines=lines(200))
    ),
    "CSV, 0.95 MB of one-letter rows": lambda: file(HEADER + b"a\n" * 500_000),
    "CSV, 60 MB of one-letter rows": lambda: file(HEADER + b"a\n" * (30 * 2**20)),
    "CSV, 20,000 unknown columns": lambda: file(HEADER[:-1] + b"".join(b",zz%d" % i for i in range(20_000)) + b"\n"),
    "CSV, 5,000 near-miss columns": lambda: file(
        HEADER[:-1] + b"".join(b",recheck_datee%d" % i for i in range(5_000)) + b"\n"
    ),
    "CSV, 64 MB of blank lines": lambda: file(HEADER + b"\n" * (63 * 2**20)),
    "CSV, 64 MB of one row": lambda: file(HEADER + b"," * (63 * 2**20)),
    "JSON, 7 MB of unknown fields": lambda: asked(
        HoldRequest, answer_hold, b"{" + b",".join(b'"f%d":1' % i for i in range(600_000)) + b"}"
    ),
    "JSON, 6 MB of empty lines": lambda: asked(
        CompareRequest, answer_compare, b'{"lines":[' + b",".join([b"{}"] * 2_000_000) + b"]}"
    ),
}


def measure(name: str) -> str:
    """Ask once, after a small question has loaded what every answer needs, and return a row of the table."""
    engine = Engine.load()
    asked(CompareRequest, answer_compare, batch(**MONDAY, draws=256))(engine)
    asked(RiskRequest, answer_risk, risk(1, LANE))(engine)
    case = CASES[name]()
    before, begun = peak_mb(), time.process_time()
    try:
        case(engine)
    except Problem as problem:
        answer = f"{problem.http_status} {problem.code}, {len(problem.body()):,} bytes: {problem.errors[0].message}"
    else:
        answer = "answered"
    return f"| {name} | {time.process_time() - begun:.2f} | {peak_mb() - before:.0f} | {answer[:160]} |"


def peak_mb() -> float:
    """Return the largest memory that this process has had, MB (Linux)."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main() -> None:
    """Print the table."""
    if len(sys.argv) > 1:
        print(measure(sys.argv[1]))
        return
    print("| request | CPU s | MB more | answer |\n|---|---|---|---|", flush=True)
    one_thread = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    for name in CASES:
        subprocess.run([sys.executable, "-m", "tests.trust", name], env=one_thread, check=True)


if __name__ == "__main__":
    main()
