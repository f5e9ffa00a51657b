"""The clock: one place of the application reads it, the setting fixes it for all of it, and no test reads it."""

import ast
import logging
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from anyio import create_task_group, from_thread, run
from pydantic import ValidationError

from app.clock import every, moment
from app.main import create_app
from app.settings import Settings
from tests.app.client import running_client
from tests.app.shipment_calls import PATH, PLAN
from tests.moments import NOW

ROOT = Path(__file__).resolve().parents[1]
READS_THE_DATE = {"now", "today", "utcnow", "time", "time_ns", "localtime", "gmtime"}
MEASURES_TIME = {"monotonic", "monotonic_ns", "perf_counter", "perf_counter_ns", "process_time", "sleep"}
# Programs that say how long something takes: they are run by hand and test nothing.
PROGRAMS = {"benchmarks", "evidence", "studies", "references", "trust"}
TESTS = [path for path in sorted((ROOT / "tests").rglob("*.py")) if not PROGRAMS & set(path.parts)]
SERVICE = [path for top in ("app", "model") for path in sorted((ROOT / top).rglob("*.py"))]


def reads(source: str, names: set[str]) -> Iterator[str]:
    """Yield what a module takes from the modules `time` and `datetime` that reads a clock."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.ImportFrom) and node.module == "time":
            yield from (f"time.{alias.name}" for alias in node.names if alias.name in names)
        elif isinstance(node, ast.Attribute) and node.attr in names:
            owner = ast.unparse(node.value).split(".")[-1]
            if owner in ("time", "datetime", "date"):
                yield f"{owner}.{node.attr}"


def test_the_check_sees_what_it_must_refuse() -> None:
    source = (
        "import time\nfrom time import sleep\nimport datetime as dt\nfrom datetime import datetime, date, UTC\n"
        "time.time()\ntime.perf_counter()\ndatetime.now(UTC)\ndate.today()\ndt.datetime.utcnow()\nclock.now()\n"
    )
    assert sorted(reads(source, READS_THE_DATE | MEASURES_TIME)) == [
        "date.today", "datetime.now", "datetime.utcnow", "time.perf_counter", "time.sleep", "time.time",
    ]  # fmt: skip


def test_one_place_of_the_application_reads_the_date() -> None:
    found = {str(path.relative_to(ROOT)) for path in SERVICE if any(reads(path.read_text(), READS_THE_DATE))}
    assert found == {"app/clock.py"}


@pytest.mark.parametrize("path", TESTS, ids=lambda path: path.stem)
def test_no_test_reads_a_clock_or_sleeps(path: Path) -> None:
    assert list(reads(path.read_text(), READS_THE_DATE | MEASURES_TIME)) == []


def test_a_fixed_moment_is_now_in_utc_whatever_its_offset() -> None:
    fixed = datetime.fromisoformat("2027-03-01T09:30:00+07:00")
    assert moment(fixed) == datetime(2027, 3, 1, 2, 30, tzinfo=UTC)
    assert moment(fixed).utcoffset() == timedelta(0)
    assert moment().utcoffset() == timedelta(0)


def test_the_setting_needs_an_offset(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TRANSIT_NOW", "2027-03-01T09:30:00")
    with pytest.raises(ValidationError, match="timezone"):
        Settings()
    monkeypatch.delenv("TRANSIT_NOW")
    assert Settings().now is None


def test_another_process_of_the_program_has_the_same_moment() -> None:
    settings = Settings(now=datetime.fromisoformat("2027-03-01T09:30:00+07:00"))
    done = subprocess.run(
        [sys.executable, "-c", "from app.settings import Settings; print(Settings().now.isoformat())"],
        env=settings.child_environment(), capture_output=True, text=True, check=True, cwd=ROOT,
    )  # fmt: skip
    assert done.stdout == "2027-03-01T09:30:00+07:00\n"


def test_answers_are_as_of_the_fixed_moment(tmp_path: Path) -> None:
    """The plan is for 11 January 2027: 30 days later its outcome is not missing yet, 31 days later it is."""
    url = f"sqlite:///{tmp_path / 'ledger.db'}"

    def missing(at: str) -> bool:
        with running_client(create_app(Settings(database_url=url, now=datetime.fromisoformat(at)))) as client:
            item = client.get(PATH).json()["items"][0]
        said: bool = item["outcome_missing"]
        return said

    with running_client(create_app(Settings(database_url=url))) as client:
        assert client.app.state.settings.now == NOW, "of the environment: see tests/conftest.py"
        assert client.post(PATH, json=PLAN | {"ship_date": "2027-01-11"}).status_code == 201
    assert [missing(at) for at in ("2027-02-10T12:00:00+00:00", "2027-02-11T12:00:00+00:00")] == [False, True]


def test_what_is_done_every_second_outlives_a_fault_and_the_log_has_it(caplog: pytest.LogCaptureFixture) -> None:
    done: list[int] = []

    async def until_done_thrice() -> None:
        async with create_task_group() as tasks:

            def work() -> None:
                done.append(len(done))
                if len(done) == 2:
                    raise ZeroDivisionError("of the second time")
                if len(done) == 3:
                    from_thread.run_sync(tasks.cancel_scope.cancel)

            await every(0.0, work, "it is not done")

    # In a thread of its own: a browser that other tests have open may hold the loop of this one.
    with caplog.at_level(logging.ERROR, logger="uvicorn.error"), ThreadPoolExecutor(1) as pool:
        pool.submit(run, until_done_thrice).result()
    assert done == [0, 1, 2]
    (record,) = caplog.records
    assert (record.getMessage(), record.exc_info is not None) == ("it is not done", True)
    assert "of the second time" in str(record.exc_info[1] if record.exc_info else None)
