"""Servers in processes of their own, on ports of this computer, and waiting for what they do."""

import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TypeVar

import httpx

from app.settings import Settings

ROOT = Path(__file__).resolve().parents[2]
PATIENCE_SECONDS = 60.0
Found = TypeVar("Found")


def until(condition: Callable[[], Found]) -> Found:
    """Ask again until there is an answer."""
    end = time.monotonic() + PATIENCE_SECONDS
    while time.monotonic() < end:
        if found := condition():
            return found
    raise AssertionError("it did not happen in time")


def free_port() -> int:
    """Return a port that nothing listens on."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port: int = free.getsockname()[1]
        return port


@contextmanager
def server(url: str, host: str = "127.0.0.1") -> Iterator[httpx.Client]:
    """Start ``python -m app serve`` on a ledger, and yield a client of it once it answers; stop it afterwards."""
    port = free_port()
    environment = Settings(database_url=url, host=host, port=port).child_environment()
    command = [sys.executable, "-m", "app", "serve"]
    process = subprocess.Popen(command, cwd=ROOT, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        with httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=PATIENCE_SECONDS) as client:

            def answers() -> bool:
                assert process.poll() is None, "the server has stopped"
                try:
                    return client.get("/health").status_code == 200
                except httpx.TransportError:
                    return False

            until(answers)
            yield client
    finally:
        process.terminate()
        process.wait()
