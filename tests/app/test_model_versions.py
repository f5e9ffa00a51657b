"""Versions and refits in the store: one active version, one running refit, nothing half stored; on both databases."""

import os
import subprocess
import sys
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path

from sqlalchemy import select

from app.store.database import Database
from app.store.model_versions import (
    StoredVersion,
    activate_version,
    active_version,
    add_version,
    list_versions,
    read_version,
)
from app.store.refits import (
    ACTIVATED,
    FAILED,
    LEASE,
    QUEUED,
    RUNNING,
    fail_dead,
    finish_refit,
    queue_refit,
    read_refit,
    start_refit,
    touch_refit,
)
from app.store.schema import model_versions

NOW = datetime(2027, 2, 1, 9, 30, tzinfo=UTC)
ARRAYS = bytes(range(256)) * 40
ROOT = Path(__file__).resolve().parents[2]


def version(name: str, *, active: bool = True, days: int = 0) -> StoredVersion:
    return StoredVersion(name, f'{{"name": "{name}"}}', 7, active, NOW + timedelta(days=days))


def store(database: Database, *versions: StoredVersion) -> None:
    for each in versions:
        with database.writing() as connection:
            add_version(connection, each, ARRAYS)


def active(database: Database) -> str | None:
    with database.reading() as connection:
        return active_version(connection)


def test_a_version_is_read_back_as_stored(database: Database) -> None:
    store(database, version("first"))
    with database.reading() as connection:
        assert read_version(connection, "first") == (version("first"), ARRAYS)
        assert read_version(connection, "other") is None


def test_one_version_is_active_and_any_can_be_again(database: Database) -> None:
    assert active(database) is None
    store(database, version("first"), version("second", days=1), version("kept", active=False, days=2))
    assert active(database) == "second"
    for name in ("first", "kept", None, "second"):
        with database.writing() as connection:
            assert activate_version(connection, name)
        assert active(database) == name
    with database.writing() as connection:
        assert not activate_version(connection, "unheard of")
    assert active(database) == "second"
    with database.reading() as connection:
        assert [(v.version, v.active) for v in list_versions(connection)] == [
            ("kept", False), ("second", True), ("first", False),
        ]  # fmt: skip


def test_a_fault_leaves_the_version_before(database: Database) -> None:
    store(database, version("first"))
    with suppress(KeyError), database.writing() as connection:
        add_version(connection, version("second"), ARRAYS)
        assert active_version(connection) == "second"
        raise KeyError
    with database.reading() as connection:
        assert connection.execute(select(model_versions.c.version)).scalars().all() == ["first"]
    assert active(database) == "first"


def test_a_process_killed_while_it_stores_leaves_the_version_before(database: Database, database_url: str) -> None:
    """SIGKILL to itself after both rows are written, before they are committed."""
    store(database, version("first"))
    code = (
        "import os, signal, sys\n"
        "from app.store.database import Database\n"
        "from app.store.model_versions import add_version\n"
        "from tests.app.test_model_versions import version\n"
        "with Database(os.environ['LEDGER']) as database, database.writing() as connection:\n"
        "    add_version(connection, version('second'), bytes(2**20))\n"
        "    print('written', flush=True)\n"
        "    os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    environment = os.environ | {"LEDGER": database_url}
    killed = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, env=environment, capture_output=True, text=True, check=False
    )
    assert (killed.stdout, killed.returncode) == ("written\n", -9), killed.stderr
    assert active(database) == "first"
    store(database, version("third", days=1))
    with database.reading() as connection:
        assert [v.version for v in list_versions(connection)] == ["third", "first"]


def test_one_waits_one_runs(database: Database) -> None:
    with database.writing() as connection:
        first, new = queue_refit(connection, now=NOW)
        assert (first.state, new) == (QUEUED, True)
        assert queue_refit(connection, now=NOW) == (first, False)
        assert start_refit(connection, first.id, now=NOW) == RUNNING
        second, new = queue_refit(connection, now=NOW)
        assert (second.id != first.id, new) == (True, True)
        assert start_refit(connection, second.id, now=NOW) == QUEUED
        assert read_refit(connection, second.id) == second
        assert finish_refit(connection, first.id, state=ACTIVATED, reason="Better.", now=NOW)
        assert not finish_refit(connection, first.id, state=FAILED, reason="Twice.", now=NOW)
        assert start_refit(connection, second.id, now=NOW) == RUNNING
        assert start_refit(connection, first.id, now=NOW) == ACTIVATED
        assert start_refit(connection, "unheard of", now=NOW) is None
    with database.reading() as connection:
        ended = read_refit(connection, first.id)
    assert ended is not None
    assert (ended.state, ended.reason, ended.finished_at) == (ACTIVATED, "Better.", NOW)


def test_a_refit_without_a_sign_of_life_blocks_nobody(database: Database) -> None:
    with database.writing() as connection:
        dead, _ = queue_refit(connection, now=NOW)
        start_refit(connection, dead.id, now=NOW)
        waiting, _ = queue_refit(connection, now=NOW + LEASE / 2)
        # A sign of life extends the lease; without one it runs out.
        assert touch_refit(connection, dead.id, now=NOW + LEASE / 2)
        assert start_refit(connection, waiting.id, now=NOW + 1.4 * LEASE) == QUEUED
        assert start_refit(connection, waiting.id, now=NOW + 1.6 * LEASE) == RUNNING
        ended = read_refit(connection, dead.id)
        assert ended is not None
        assert ended.state == FAILED
        assert "stopped before it was done" in str(ended.reason)
        assert not touch_refit(connection, dead.id, now=NOW + 2 * LEASE)
        fail_dead(connection, now=NOW + 3 * LEASE)
        assert queue_refit(connection, now=NOW + 3 * LEASE)[1]
