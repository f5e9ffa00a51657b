"""How many calls for risk a server answers: ``python -m tests.trust.throughput`` prints a table.

A server in processes of its own, with one worker and with two, and clients in theirs that each ask over a
kept connection as fast as they are answered, more of them from step to step. The most calls a second is that of the
step with most whose p99 stays below 100 ms. Where the computer does other work too, calls a second on the wall
say little: CPU a call says what a worker costs, its shares whether all work. On loopback, each step bounded.
"""

import argparse
import json
import os
import re
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

import numpy as np

from app.store import Database
from tests.app.fits import fill, likely_ledger
from tests.app.servers import running_server
from tests.trust.__main__ import risk

MOST_P99_S = 0.1
STARTED = re.compile(r"Started server process \[(\d+)\]")
TICK_S = 1.0 / os.sysconf("SC_CLK_TCK")
PATIENCE_SECONDS = 60.0
CLIENT = Path(__file__).with_name("client.py")


class Step(NamedTuple):
    """So many clients for a while: calls a second, waits, CPU of each worker, s, and how many calls there were."""

    n_clients: int
    calls_a_second: float
    p50_s: float
    p99_s: float
    cpu_s: list[float]
    n_calls: int

    def row(self, n_workers: int) -> str:
        """Return a row of the table."""
        cpu_ms = 1000.0 * sum(self.cpu_s) / self.n_calls
        shares = " ".join(f"{100 * own / max(sum(self.cpu_s), TICK_S):.0f}" for own in self.cpu_s)
        waits = f"{1000 * self.p50_s:.1f} | {1000 * self.p99_s:.1f}"
        return f"| {n_workers} | {self.n_clients} | {self.calls_a_second:.0f} | {waits} | {cpu_ms:.2f} | {shares} |"


def cpu_seconds(pid: int) -> float:
    """Return the CPU time that a process has taken (Linux)."""
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()
    return TICK_S * (int(fields[11]) + int(fields[12]))


def own_mb(pid: int) -> float:
    """Return the memory of a process, what it shares with others counted in part, MB (Linux)."""
    text = Path(f"/proc/{pid}/smaps_rollup").read_text(encoding="utf-8")
    return int(next(line for line in text.splitlines() if line.startswith("Pss:")).split()[1]) / 1024.0


def step(address: str, pids: list[int], n_clients: int, seconds: float, n_lines: int) -> Step:
    """Let so many clients ask for a while."""
    before = [cpu_seconds(pid) for pid in pids]
    asking = [sys.executable, "-S", str(CLIENT), address, str(seconds)]
    body = risk(n_lines, {"inside_c": 20})
    clients = [subprocess.Popen(asking, stdin=subprocess.PIPE, stdout=subprocess.PIPE) for _ in range(n_clients)]
    try:
        for one in clients:
            assert one.stdin is not None
            one.stdin.write(body)
            one.stdin.close()
            one.stdin = None
        told = [one.communicate(timeout=seconds + PATIENCE_SECONDS)[0] for one in clients]
    finally:
        for one in clients:
            one.kill()
            one.wait()
    taken = np.concatenate([json.loads(text) for text in told])
    cpu = [cpu_seconds(pid) - was for pid, was in zip(pids, before, strict=True)]
    p50, p99 = np.quantile(taken, [0.5, 0.99])
    return Step(n_clients, len(taken) / seconds, float(p50), float(p99), cpu, len(taken))


def measure(url: str, n_workers: int, seconds: float, n_lines: int, clients: Sequence[int]) -> float:
    """Print the rows of so many workers, and return the most calls a second within the limit."""
    log: list[str] = []
    best = 0.0
    with running_server(url, log=log, TRANSIT_WORKERS=str(n_workers)) as address:
        while len(found := STARTED.findall("".join(log))) < n_workers:
            time.sleep(0.05)
        pids = [int(pid) for pid in found]
        step(address, pids, 2 * n_workers, 1.0, n_lines)
        for n_clients in clients:
            done = step(address, pids, n_clients, seconds, n_lines)
            print(done.row(n_workers), flush=True)
            if done.p99_s < MOST_P99_S:
                best = max(best, done.calls_a_second)
        memory = ", ".join(f"{own_mb(pid):.0f}" for pid in pids)
    print(f"| {n_workers} | | most: {best:.0f} | | | | memory of each, MB: {memory} |", flush=True)
    return best


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=5.0, help="of each step")
    parser.add_argument("--lines", type=int, default=1, help="of each call")
    parser.add_argument("--workers", type=int, nargs="+", default=[1, 2])
    parser.add_argument("--clients", type=int, nargs="+", default=[1, 2, 4, 8, 16])
    parser.add_argument(
        "--database-url", metavar="URL", help="an empty database; a SQLite file of its own unless given"
    )
    asked = parser.parse_args()
    with TemporaryDirectory() as folder:
        url = asked.database_url or f"sqlite:///{Path(folder) / 'ledger.db'}"
        with Database(url) as ledger:
            fill(ledger, likely_ledger(30, 0))
        print("| workers | clients | calls a second | median ms | p99 ms | CPU ms a call | shares of the workers, % |")
        print("|---|---|---|---|---|---|---|")
        most = [measure(url, n, asked.seconds, asked.lines, asked.clients) for n in asked.workers]
    if most[0]:
        print(
            f"{asked.workers[-1]} workers against {asked.workers[0]}: {most[-1] / most[0]:.2f} times the calls a second"
        )


if __name__ == "__main__":
    main()
