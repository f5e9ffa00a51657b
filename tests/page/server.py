"""A server process of its own, on a loopback port that the system chooses."""

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Thread

ROOT = Path(__file__).resolve().parents[2]
RUNNING = re.compile(r"running on (http://[\d.]+:\d+)")


@contextmanager
def running_server(database: Path, **settings: str) -> Iterator[str]:
    """Start a server on a ledger in a file and yield its address; `settings` are variables of its environment."""
    process = subprocess.Popen(
        [sys.executable, "-m", "app", "serve", "--port", "0", "--database-url", f"sqlite:///{database}"],
        cwd=ROOT,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1", **settings},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stderr is not None
    try:
        lines = []
        address = None
        for line in process.stderr:
            lines.append(line)
            if address := RUNNING.search(line):
                break
        assert address, f"the server did not start: {''.join(lines)}"
        # Its log is read on, so that a full pipe does not stop it.
        reader = Thread(target=process.stderr.read, daemon=True)
        reader.start()
        yield address[1]
    finally:
        process.terminate()
        process.wait(timeout=20)
        process.stderr.close()
