"""A server that is told to stop: who waits hears of it, and a refit cut short is taken up by the next.

With `refit?wait=true` and a client that had left, the server was still there after 75 s, and its refit too. That it
ends
in time is checked where it is stopped: see `tests.app.servers.STOP_SECONDS`.
"""

import json
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import httpx
from sqlalchemy import select

from app.serving.refits import CUT_SHORT, NOTHING_TO_DO, TAKEN_UP, find_refit
from app.store.database import Database
from app.store.refits import FAILED, RUNNING
from app.store.schema import refits
from tests.app.fits import fill, likely_ledger
from tests.app.servers import running_server, server, until

REFIT = "/v1/model/refit"


def test_a_refit_that_is_waited_for_is_cut_short_told_and_taken_up_by_the_next_server(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'ledger.db'}"
    with Database(url) as ledger, ThreadPoolExecutor(1) as pool:
        fill(ledger, likely_ledger(40, 3))

        def started() -> str | None:
            with ledger.reading() as connection:
                return connection.execute(select(refits.c.id).where(refits.c.state == RUNNING)).scalar()

        log: list[str] = []
        with running_server(url, log=log) as address:
            # RFC 5737: an address for documentation. A proxy on this computer is believed unless told otherwise.
            headers = {"x-request-id": "from-outside", "x-forwarded-for": "192.0.2.7"}
            waiting = pool.submit(httpx.post, f"{address}{REFIT}?wait=true", timeout=None, headers=headers)
            refit_id = str(until(started))
        answer = waiting.result()
        assert answer.status_code in (200, 202)
        assert answer.json()["id"] == refit_id
        cut = find_refit(ledger, refit_id)
        assert (cut.state, cut.reason) == (FAILED, CUT_SHORT)
        # Not a terminal: its log, and that of the refit's process, is JSON, one line an event.
        lines = [json.loads(line) for line in log]
        assert all({"time", "level", "event", "message"} <= line.keys() for line in lines)
        [told] = [line for line in lines if line["event"] == "refit_failed"]
        assert (told["refit"], told["todo"]) == (refit_id, NOTHING_TO_DO)
        [called] = [line for line in lines if line.get("request_id") == "from-outside"]
        assert (called["event"], called["route"], "todo" in called) == ("call", REFIT, False)
        assert called["address"] == "192.0.2.7"
        with server(url) as client:
            again = until(lambda: (found := client.get(f"{REFIT}s/{refit_id}").json())["state"] != FAILED and found)
            assert again["reason"] == TAKEN_UP
