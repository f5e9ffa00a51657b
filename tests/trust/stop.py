"""A server told to stop while all it can wait for is under way: ``python -m tests.trust.stop`` says how it ended.

A refit that is waited for, and four imports that wait for a ledger somebody else has locked.
"""

import sqlite3
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Event

import httpx

from tests.app.fits import likely_ledger
from tests.app.ledger_files import csv_bytes, row
from tests.app.servers import PATIENCE_SECONDS, running_server
from tests.trust.__main__ import risk

N_WRITERS = 4


def post(address: str, path: str, content: bytes = b"") -> str:
    """Call, and return what came of it."""
    try:
        answer = httpx.post(f"{address}{path}", content=content, timeout=PATIENCE_SECONDS)
    except httpx.HTTPError as error:
        return type(error).__name__
    return f"{answer.status_code} {answer.json().get('code', answer.json().get('state', ''))}"


def main() -> None:
    """Say how it ended; a server that takes longer than `tests.app.servers.STOP_SECONDS` raises."""
    with TemporaryDirectory() as folder, ThreadPoolExecutor(1 + N_WRITERS) as pool:
        file = Path(folder) / "ledger.db"
        with running_server(f"sqlite:///{file}") as address:
            post(address, "/v1/shipments/import", likely_ledger(40, 3))
            refit = pool.submit(post, address, "/v1/model/refit?wait=true")
            Event().wait(2.0)
            lock = sqlite3.connect(file, isolation_level=None)
            lock.execute("BEGIN EXCLUSIVE")
            writers = [
                pool.submit(post, address, "/v1/shipments/import", csv_bytes(row(shipment=f"waits {i}")))
                for i in range(N_WRITERS)
            ]
            Event().wait(0.5)
            begun = time.perf_counter()
            post(address, "/v1/risk", risk(1, {"inside_c": 20}))
            print(f"one line of risk beside a locked ledger: {1000 * (time.perf_counter() - begun):.0f} ms")
            begun = time.perf_counter()
        print(f"told to stop, it ended after {time.perf_counter() - begun:.1f} s")
        print(f"refit?wait=true: {refit.result()}; imports: {[writer.result() for writer in writers]}")
        lock.close()


if __name__ == "__main__":
    main()
