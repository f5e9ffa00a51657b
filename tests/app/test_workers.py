"""Several worker processes at one port: one that dies is replaced, and what must be done once is done once."""

import os
import re
import signal
from functools import partial

import httpx
import pytest
from sqlalchemy import func, select

from app.clock import moment
from app.store.database import Database
from app.store.refits import FAILED, queue_refit, start_refit
from app.store.schema import refits
from tests.app.fits import FEW_DRAWS, likely_ledger
from tests.app.servers import PATIENCE_SECONDS, running_server, until
from tests.app.test_self_learning import RISK

STARTED = re.compile(r"Started server process \[(\d+)\]")
LEARNING = {"TRANSIT_REFIT_AFTER": "auto", "TRANSIT_QUICK_UPDATE": "true", "TRANSIT_REFIT_DRAWS": str(FEW_DRAWS)}


def started(log: list[str], n: int) -> list[int] | None:
    found = STARTED.findall("".join(log))
    return [int(pid) for pid in found] if len(found) >= n else None


@pytest.mark.long
def test_workers_answer_alike_learn_once_and_are_replaced(database_url: str) -> None:
    """That they stop within 15 s is checked where each server of the tests is stopped."""
    log: list[str] = []
    with (
        running_server(database_url, log=log, TRANSIT_WORKERS="2", **LEARNING) as address,
        Database(database_url) as ledger,
    ):
        first = until(partial(started, log, 2))
        assert first is not None
        httpx.post(
            f"{address}/v1/shipments/import", content=likely_ledger(8, 1), timeout=PATIENCE_SECONDS
        ).raise_for_status()

        def states() -> list[str]:
            with ledger.reading() as connection:
                return list(connection.execute(select(refits.c.state)).scalars())

        until(lambda: states() and not {"queued", "running"} & set(states()))
        with ledger.reading() as connection:
            last = connection.execute(select(func.max(refits.c.ledger_revision))).scalar()
        assert last is not None
        # Each connection is taken by whichever worker comes first.
        until(
            lambda: (
                len({httpx.post(f"{address}/v1/risk", json=RISK, timeout=PATIENCE_SECONDS).content for _ in range(8)})
                == 1
            )
        )
        assert len(states()) == 1
        assert FAILED not in states()
        os.kill(first[0], signal.SIGKILL)
        third = until(partial(started, log, 3))
        assert third is not None
        assert len(set(third)) == 3
        assert {httpx.get(f"{address}/ready", timeout=PATIENCE_SECONDS).status_code for _ in range(8)} == {200}
        assert any('"worker_died"' in line for line in log)
        assert len(states()) == 1


def test_a_refit_that_nobody_asked_for_does_not_wait_behind_one_that_runs(database: Database) -> None:
    """Of two workers that look at the same moment; one that is asked for sees a ledger that the first did not."""
    now = moment()
    with database.writing() as connection:
        first, new = queue_refit(connection, now=now, by_itself=True)
        assert new
        assert start_refit(connection, first.id, now=now) == "running"
        again, new = queue_refit(connection, now=now, by_itself=True)
        assert (again.id, new) == (first.id, False)
        asked_for, new = queue_refit(connection, now=now)
        assert new
        assert asked_for.id != first.id
