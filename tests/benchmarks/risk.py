"""Risk against what it cannot do without: ``python -m tests.benchmarks.risk`` prints a table.

Ten thousand lines against validating and echoing them; two hundred journeys through seasonal weather in units of fixed
numpy work; one line over a kept connection against an endpoint that answers the same bytes and does nothing. Sides are
taken in turn and the best time of each counts, of all threads of the process (CPU) and on the wall.
"""

import argparse
import http.client
import json
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

import numpy as np
from fastapi import Request, Response

from app.main import create_app
from app.risk import answer_risk
from app.schemas import RequestBody, RiskRequest
from app.serving import Engine
from app.settings import Settings
from tests.app.servers import thread_server
from tests.benchmarks.units import Cost, best, unit_of_work
from tests.trust.__main__ import LANE
from tests.trust.__main__ import risk as seasonal

REPEATS, N_LINES, N_SEASONAL, CALLS_AT_ONCE = 7, 10_000, 200, 200
QUERY = "/v1/risk?genus=Hoya&transit_days={days}&inside_c=20&seller_kind=grower"


class Ratio(NamedTuple):
    """One row of the table."""

    what: str
    cost: Cost
    against: str
    base: Cost
    target: float

    @property
    def of_cpu(self) -> float:
        """The ratio of CPU time."""
        return self.cost.cpu / self.base.cpu

    def __str__(self) -> str:
        cpu, wall = self.of_cpu, self.cost.wall / self.base.wall
        verdict = "met" if cpu <= self.target else "met on the wall" if wall <= self.target else "missed"
        return (
            f"| {self.what} | {1000 * self.cost.wall:.2f} ms | {self.against} | {1000 * self.base.wall:.2f} ms "
            f"| {cpu:.2f} | {wall:.2f} | {self.target:g} | {verdict} |"
        )


def different_lines(engine: Engine) -> bytes:
    """Return a body of lines whose genera, days and temperatures differ."""
    rng = np.random.default_rng(1)
    drawn = rng.choice(list(engine.reference.genera), N_LINES), rng.uniform(2, 15, N_LINES), rng.uniform(8, 30, N_LINES)
    queries = [
        {"genus": str(g), "transit_days": round(float(d), 2), "temperature": {"inside_c": round(float(c), 1)}}
        for g, d, c in zip(*drawn, strict=True)
    ]
    return json.dumps({"queries": queries}).encode()


def many_lines(repeats: int) -> list[Ratio]:
    """Constant temperatures against validating and echoing them; seasonal ones in units."""
    engine, body = Engine.load(), RequestBody(RiskRequest)
    constant, lanes = different_lines(engine), seasonal(N_SEASONAL, LANE)
    costs = best(
        lambda: answer_risk(body.parse(constant), engine),
        lambda: body.parse(constant).model_dump_json().encode(),
        lambda: answer_risk(body.parse(lanes), engine),
        unit_of_work(),
        repeats=repeats,
    )
    return [
        Ratio(f"risk, {N_LINES:,} different lines", costs[0], "validating and echoing them", costs[1], 3),
        Ratio(f"risk, {N_SEASONAL} seasonal lines, all days different", costs[2], "the unit", costs[3], 6),
    ]


def one_line(repeats: int) -> list[Ratio]:
    """One line over a kept connection, asked again and never asked before, against an endpoint that does nothing."""
    n_asked = 0
    with TemporaryDirectory() as folder:
        app = create_app(Settings(database_url=f"sqlite:///{Path(folder) / 'ledger.db'}"))
        answer = b""

        @app.get("/bare")
        async def bare(_request: Request) -> Response:
            return Response(answer, media_type="application/json")

        with thread_server(app) as port:
            connection = http.client.HTTPConnection("127.0.0.1", port)

            def ask(path: str) -> bytes:
                connection.request("GET", path)
                response = connection.getresponse()
                content = response.read()
                if response.status != http.client.OK:
                    raise RuntimeError(content.decode())
                return content

            def fresh() -> None:
                nonlocal n_asked
                for _ in range(CALLS_AT_ONCE):
                    n_asked += 1
                    ask(QUERY.format(days=f"{2 + n_asked / 10_000:.4f}"))

            answer = ask(QUERY.format(days=6))
            again, new, nothing = best(
                lambda: [ask(QUERY.format(days=6)) for _ in range(CALLS_AT_ONCE)],
                fresh,
                lambda: [ask("/bare") for _ in range(CALLS_AT_ONCE)],
                repeats=repeats,
            )
            connection.close()
    what, against = f"one line, {CALLS_AT_ONCE} calls over a kept connection", "a bare endpoint"
    return [
        Ratio(f"{what}, asked before", again, against, nothing, 1.5),
        Ratio(f"{what}, new", new, against, nothing, 1.5),
    ]


def rows(repeats: int = REPEATS) -> list[Ratio]:
    """Return the rows of the table."""
    return [*many_lines(repeats), *one_line(repeats)]


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeats", type=int, default=REPEATS)
    print("| what | wall | against | wall | ratio, CPU | ratio, wall | at most | |\n|---|---|---|---|---|---|---|---|")
    for row in rows(parser.parse_args().repeats):
        print(row)


if __name__ == "__main__":
    main()
