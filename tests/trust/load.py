"""One line of risk beside mixed load: ``python -m tests.trust.load [--seconds 120]`` prints its waits.

A server in a process of its own, first alone, then beside 8 clients that compare, hold, ask for many lines, import and
list boxes as fast as they are answered, and have the model refitted. On loopback, with an invented ledger of its own.
"""

import argparse
import json
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from itertools import cycle
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Event

import httpx
import numpy as np

from tests.app.fits import likely_ledger
from tests.app.servers import PATIENCE_SECONDS, running_server
from tests.trust.__main__ import LANE, batch, risk

N_CLIENTS = 8
ALONE_SECONDS = 5.0
JSON = {"content-type": "application/json"}
ONE = risk(1, {"inside_c": 20})
Call = tuple[str, str, bytes | None]


def mixed() -> list[Call]:
    """Return the calls of the load."""
    return [
        ("POST", "/v1/compare", batch(ship_date="2027-01-11")),
        ("POST", "/v1/hold", batch(earliest="2027-01-11", latest="2027-01-25")),
        ("POST", "/v1/risk", risk(200, LANE)),
        ("POST", "/v1/risk", risk(5_000, {"inside_c": 20})),
        ("GET", "/v1/shipments", None),
        ("GET", "/v1/genera", None),
        ("GET", "/v1/track-record", None),
    ]


def ask(address: str, calls: list[Call], stop: Event, seed: int) -> Counter[str]:
    """Make calls one after the other until told to stop, and return how often each was answered how."""
    answered: Counter[str] = Counter()
    with httpx.Client(base_url=address, timeout=PATIENCE_SECONDS) as client:
        for method, path, body in cycle(calls[seed % len(calls) :] + calls[: seed % len(calls)]):
            if stop.is_set():
                return answered
            response = client.request(method, path, content=body, headers=JSON)
            answered[f"{path} {response.status_code}"] += 1
    return answered


def learn(address: str, stop: Event) -> Counter[str]:
    """Import boxes and have the model refitted, again and again."""
    answered: Counter[str] = Counter()
    with httpx.Client(base_url=address, timeout=PATIENCE_SECONDS) as client:
        n = 0
        while not stop.is_set():
            n += 1
            client.post("/v1/shipments/import", content=likely_ledger(5, n, f"load-{n}")).raise_for_status()
            answered[f"refit {client.post('/v1/model/refit?wait=true').status_code}"] += 1
    return answered


def waits(address: str, seconds: float) -> list[float]:
    """Return how long one line of risk took each time it was asked, s."""
    taken = []
    with httpx.Client(base_url=address, timeout=PATIENCE_SECONDS) as client:
        end = time.perf_counter() + seconds
        while (begun := time.perf_counter()) < end:
            client.post("/v1/risk", content=ONE, headers=JSON).raise_for_status()
            taken.append(time.perf_counter() - begun)
            Event().wait(0.02)
    return taken


def told(name: str, taken: list[float]) -> str:
    """Return a row of the table, in ms."""
    p50, p99 = 1000 * np.quantile(taken, [0.5, 0.99])
    return f"| {name} | {len(taken):,} | {p50:.1f} | {p99:.1f} | {1000 * max(taken):.1f} |"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--seconds", type=float, default=120.0)
    seconds = parser.parse_args().seconds
    with TemporaryDirectory() as folder, running_server(f"sqlite:///{Path(folder) / 'ledger.db'}") as address:
        httpx.post(f"{address}/v1/shipments/import", content=likely_ledger(30, 0)).raise_for_status()
        waits(address, 1.0)
        alone = waits(address, ALONE_SECONDS)
        stop = Event()
        with ThreadPoolExecutor(N_CLIENTS) as pool:
            clients = [pool.submit(ask, address, mixed(), stop, i) for i in range(N_CLIENTS - 1)]
            clients.append(pool.submit(learn, address, stop))
            try:
                beside = waits(address, seconds)
            finally:
                stop.set()
        answered = sum((client.result() for client in clients), Counter[str]())
    print("| one line of risk | times | median ms | p99 ms | longest ms |\n|---|---|---|---|---|")
    print(told("alone", alone))
    print(told(f"beside {N_CLIENTS} clients for {seconds:g} s", beside))
    print(json.dumps(answered, indent=1, sort_keys=True))


if __name__ == "__main__":
    main()
