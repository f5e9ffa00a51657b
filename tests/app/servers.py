"""Servers on loopback ports that the system chooses, in processes of their own or a thread, and waiting for them."""

import asyncio
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Event, Thread
from typing import TypeVar

import httpx
import uvicorn
from fastapi import FastAPI
from uvicorn.protocols.http.h11_impl import H11Protocol

from app.cli.server import PatientProtocol
from app.settings import Settings

ROOT = Path(__file__).resolve().parents[2]
RUNNING = re.compile(r"running on http://[\d.]+:(\d+)")
PATIENCE_SECONDS = 120.0
# Every server of the tests has ended so soon after it was told to, whatever waits or runs.
STOP_SECONDS = 15.0
PAUSE_SECONDS = 0.02
MOST_ASKED = 6_000
Found = TypeVar("Found")


def until(condition: Callable[[], Found]) -> Found:
    """Ask again until there is an answer, so many times at most: what another process does sets no event here.

    Between two times the processor is left to what is waited for.
    """
    left_alone = Event()
    for _ in range(MOST_ASKED):
        if found := condition():
            return found
        left_alone.wait(PAUSE_SECONDS)
    raise AssertionError(f"it had not happened when asked {MOST_ASKED:,} times")


@contextmanager
def running_server(url: str, host: str = "127.0.0.1", log: list[str] | None = None, **variables: str) -> Iterator[str]:
    """Start ``python -m app serve`` on a ledger and yield its address once it answers; stop it afterwards.

    `variables` are added to its environment; `log` takes the lines of its log, all of them once it is stopped.
    """
    process = subprocess.Popen(
        [sys.executable, "-m", "app", "serve"],
        cwd=ROOT,
        env=Settings(database_url=url, host=host, port=0).child_environment() | variables,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stderr is not None
    try:
        lines = [] if log is None else log
        port = None
        for line in process.stderr:
            lines.append(line)
            if port := RUNNING.search(line):
                break
        assert port, f"the server did not start: {''.join(lines)}"
        # Its log is read on, so that a full pipe does not stop it.
        reader = Thread(target=lines.extend, args=(process.stderr,), daemon=True)
        reader.start()
        yield f"http://127.0.0.1:{port[1]}"
    finally:
        process.terminate()
        process.wait(timeout=STOP_SECONDS)
        if log is not None and port:
            reader.join()
        process.stderr.close()


@contextmanager
def server(url: str, host: str = "127.0.0.1", **variables: str) -> Iterator[httpx.Client]:
    """Start a server as `running_server` does and yield a client of it."""
    with (
        running_server(url, host, None, **variables) as address,
        httpx.Client(base_url=address, timeout=PATIENCE_SECONDS) as client,
    ):
        yield client


@contextmanager
def thread_server(app: FastAPI, protocol: type[H11Protocol] = PatientProtocol) -> Iterator[int]:
    """Serve an application in a thread and yield its port."""
    running = uvicorn.Server(
        uvicorn.Config(app, port=0, http=protocol, ws="none", log_config=None, timeout_keep_alive=600)
    )
    thread = Thread(target=lambda: asyncio.run(running.serve()))
    thread.start()
    until(lambda: running.started)
    try:
        port: int = running.servers[0].sockets[0].getsockname()[1]
        yield port
    finally:
        running.should_exit = True
        thread.join()
