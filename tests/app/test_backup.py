"""Backups: complete while others write, sound or refused, and put back without losing what was there."""

import os
import resource
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from threading import Event, Thread
from typing import Any

import pytest

from app.__main__ import main
from app.ledger.export import export_csv
from app.store.backup import DamagedFile, LedgerInUse, copy_ledger, put_back
from app.store.database import Database
from tests.app.fits import fill
from tests.app.ledger_files import csv_bytes, random_ledger, row
from tests.app.servers import ROOT, server

FIRST_SCHEMA = ROOT / "tests" / "app" / "ledgers_by_schema" / "0001.sql"
# What a ledger is made of, but for what SQLite makes by itself; indexes before the columns that they are of.
NAMED = "SELECT type, name FROM sqlite_master WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite_%' ORDER BY type"

BOXES = random_ledger(600, 11)


@pytest.fixture
def ledger(tmp_path: Path) -> Path:
    """Return a ledger of 200 shipments."""
    file = tmp_path / "ledger.db"
    with Database(url(file)) as database:
        fill(database, BOXES)
    return file


def url(file: Path) -> str:
    return f"sqlite:///{file}"


def exported(file: Path) -> bytes:
    with Database(url(file)) as database:
        return export_csv(database)


def run(capsys: pytest.CaptureFixture[str], ledger: Path, *argv: str) -> tuple[int, str, str]:
    code = main([*argv, "--database-url", url(ledger)])
    captured = capsys.readouterr()
    return code, captured.out, captured.err


def names(folder: Path) -> set[str]:
    return {file.name for file in folder.iterdir()}


def test_a_backup_put_back_exports_the_same(capsys: pytest.CaptureFixture[str], ledger: Path, tmp_path: Path) -> None:
    before, copy = exported(ledger), tmp_path / "copy.db"
    assert before.count(b"\r\n") == 601
    assert run(capsys, ledger, "backup", str(copy))[0] == 0
    assert exported(copy) == before
    with Database(url(ledger)) as database:
        fill(database, csv_bytes(row()))
    after = exported(ledger)
    assert after != before
    code, out, _ = run(capsys, ledger, "restore", str(copy))
    assert (code, exported(ledger)) == (0, before)
    [aside] = tmp_path.glob("ledger.db.before-*")
    assert str(aside) in out
    assert exported(aside) == after
    elsewhere = tmp_path / "elsewhere.db"
    assert run(capsys, elsewhere, "restore", str(copy))[0] == 0
    assert exported(elsewhere) == before


def test_a_backup_is_one_private_file(ledger: Path, tmp_path: Path) -> None:
    folder = tmp_path / "copies"
    folder.mkdir()
    copy_ledger(ledger, folder / "copy.db")
    assert names(folder) == {"copy.db"}
    assert (folder / "copy.db").stat().st_mode & 0o777 == 0o600


def test_a_ledger_put_back_is_for_the_same_people(ledger: Path, tmp_path: Path) -> None:
    copy_ledger(ledger, tmp_path / "copy.db")
    ledger.chmod(0o640)
    put_back(tmp_path / "copy.db", ledger, tmp_path / "aside.db")
    assert ledger.stat().st_mode & 0o777 == 0o640


def test_backups_while_a_server_writes(ledger: Path, tmp_path: Path) -> None:
    """Each holds whole imports only, three lines each: all that the server had told of before, and nothing later."""
    copies = [tmp_path / f"copy-{i}.db" for i in range(5)]
    written, stop = Event(), Event()
    told, bounds = 0, []
    with server(url(ledger)) as client:

        def write() -> None:
            nonlocal told
            while not stop.is_set():
                lines = [row(shipment=f"new-{told}", cultivar=str(i)) for i in range(3)]
                answer = client.post("/v1/shipments/import", content=csv_bytes(*lines))
                assert answer.json()["added"] == 1
                told += 1
                written.set()

        writer = Thread(target=write)
        writer.start()
        try:
            for copy in copies:
                assert written.wait(60.0)
                written.clear()
                before = told
                copy_ledger(ledger, copy)
                # One more may be written and not told of yet.
                bounds.append((before, told + 1))
        finally:
            stop.set()
            writer.join()
        last = client.get("/v1/shipments/export").content
    found = [exported(copy) for copy in copies]
    new = [sum(line.startswith(b"new-") for line in text.split(b"\r\n")) for text in found]
    assert all(n % 3 == 0 for n in new)
    assert new[0] > 0
    assert all(low <= n // 3 <= high for n, (low, high) in zip(new, bounds, strict=True))
    assert bounds[-1][0] > bounds[0][0]
    assert all(set(text.split(b"\r\n")) <= set(last.split(b"\r\n")) for text in found)


def test_a_ledger_left_by_a_killed_process_is_copied_whole(tmp_path: Path) -> None:
    """What it wrote is still in the companion of the file only."""
    ledger = tmp_path / "ledger.db"
    code = (
        "import os, sys\n"
        "from app.store.database import Database\n"
        "from tests.app.fits import fill\n"
        "from tests.app.ledger_files import csv_bytes, row\n"
        "database = Database(sys.argv[1])\n"
        "fill(database, csv_bytes(row()))\n"
        "os._exit(0)\n"
    )
    subprocess.run([sys.executable, "-c", code, url(ledger)], cwd=ROOT, check=True)
    assert Path(f"{ledger}-wal").stat().st_size > 0
    copy = tmp_path / "copy.db"
    copy_ledger(ledger, copy)
    assert exported(copy).count(b"\r\n") == 2
    put_back(copy, ledger, tmp_path / "aside.db")
    assert exported(ledger) == exported(copy) == exported(tmp_path / "aside.db")


def test_nothing_is_overwritten_unless_asked(capsys: pytest.CaptureFixture[str], ledger: Path, tmp_path: Path) -> None:
    kept = tmp_path / "kept.txt"
    kept.write_text("kept")
    code, _, err = run(capsys, ledger, "backup", str(kept))
    assert (code, kept.read_text(), "is there already" in err) == (2, "kept", True)
    assert run(capsys, ledger, "backup", str(kept), "--force")[0] == 0
    assert exported(kept) == exported(ledger)
    for own in (ledger, tmp_path / "." / "ledger.db"):
        code, _, err = run(capsys, ledger, "backup", str(own), "--force")
        assert (code, "is the ledger itself" in err) == (2, True)
        assert run(capsys, ledger, "restore", str(own))[0] == 2
    assert run(capsys, ledger, "backup", str(tmp_path), "--force")[0] == 2
    assert run(capsys, ledger, "backup", str(tmp_path / "nowhere" / "copy.db"))[0] == 2
    assert exported(ledger).count(b"\r\n") == 601


def test_a_backup_cut_off_leaves_the_old_one(ledger: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As a full disk does: the copy cannot be brought to the disk."""
    copy = tmp_path / "copy.db"
    copy.write_text("the backup before")
    before = names(tmp_path)

    def full(_descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("app.store.backup.os.fsync", full)
    with pytest.raises(OSError, match="No space left"):
        copy_ledger(ledger, copy)
    assert copy.read_text() == "the backup before"
    assert names(tmp_path) == before


def test_a_backup_on_a_full_disk_names_the_disk(
    ledger: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """While this process may write no file so large: the system then says what a full disk says, or nearly so."""
    copy = tmp_path / "elsewhere" / "copy.db"
    copy.parent.mkdir()
    usual = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (65_536, usual[1]))
    try:
        code, _, err = run(capsys, ledger, "backup", str(copy))
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, usual)
    assert (code, err.strip()) == (2, f"{copy}: the disk of {copy.parent} takes no more of it: disk I/O error")
    assert names(copy.parent) == set()


def cut(file: Path) -> None:
    os.truncate(file, file.stat().st_size // 2)


def overwrite(file: Path) -> None:
    """Overwrite pages 3 to 6 of 4096 bytes each."""
    with file.open("r+b") as handle:
        handle.seek(2 * 4096)
        handle.write(b"\xa5" * (4 * 4096))


def sql(*statements: str) -> Callable[[Path], None]:
    def change(file: Path) -> None:
        with closing(sqlite3.connect(file)) as connection, connection:
            for statement in statements:
                connection.execute(statement)

    return change


DAMAGES: list[Any] = [
    pytest.param(lambda file: file.write_bytes(b""), "not a ledger", id="empty"),
    pytest.param(lambda file: file.write_bytes(csv_bytes(row()) * 20), "cannot be read", id="csv"),
    pytest.param(lambda file: file.write_bytes(file.read_bytes()[:50]), "cannot be read", id="stump"),
    pytest.param(cut, "damaged", id="cut"),
    pytest.param(overwrite, "damaged", id="overwritten"),
    pytest.param(sql("UPDATE alembic_version SET version_num = '9999'"), "newer version", id="newer"),
    pytest.param(sql("DROP TABLE alembic_version"), "not a ledger", id="other"),
    pytest.param(sql("DROP TABLE events"), "damaged", id="table-missing"),
    pytest.param(sql("PRAGMA foreign_keys = 0", "UPDATE lines SET shipment = 999999 WHERE shipment = 1"),
                 "refers to another", id="orphans"),
    pytest.param(sql("PRAGMA ignore_check_constraints = 1", "UPDATE lines SET dead = -1 WHERE dead IS NOT NULL"),
                 "damaged", id="impossible-count"),
]  # fmt: skip


@pytest.mark.parametrize(("damage", "said"), DAMAGES)
def test_a_damaged_file_is_not_put_back(
    capsys: pytest.CaptureFixture[str], ledger: Path, tmp_path: Path, damage: Callable[[Path], object], said: str
) -> None:
    copy, before = tmp_path / "copy.db", exported(ledger)
    copy_ledger(ledger, copy)
    damage(copy)
    bytes_before, files = copy.read_bytes(), names(tmp_path)
    code, out, err = run(capsys, ledger, "restore", str(copy))
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert said in err
    assert (exported(ledger), copy.read_bytes()) == (before, bytes_before)
    assert names(tmp_path) == files


def test_a_damaged_ledger_can_be_replaced(ledger: Path, tmp_path: Path) -> None:
    """It is for this that there are backups; the wreck is kept, with its companions."""
    before, copy, aside = exported(ledger), tmp_path / "copy.db", tmp_path / "aside.db"
    copy_ledger(ledger, copy)
    wreck = b"no database, whatever its name says" * 99
    ledger.write_bytes(wreck)
    Path(f"{ledger}-wal").write_bytes(b"of the wreck")
    assert put_back(copy, ledger, aside)
    assert exported(ledger) == before
    assert aside.read_bytes() == wreck
    assert Path(f"{aside}-wal").read_bytes() == b"of the wreck"
    with pytest.raises(DamagedFile):
        copy_ledger(aside, tmp_path / "another.db")


def drops_since(schema: Path, ledger: Path) -> list[str]:
    """Return the statements that take from a ledger what was added since a schema."""
    with closing(sqlite3.connect(":memory:")) as first, closing(sqlite3.connect(ledger)) as now:
        first.executescript(schema.read_text(encoding="utf-8"))
        kept, own = ([tuple(row) for row in one.execute(NAMED)] for one in (first, now))
        drops = [f"DROP {kind} {name}" for kind, name in own if (kind, name) not in kept]
        for kind, table in kept:
            if kind == "table":
                before, after = ([row[1] for row in one.execute(f"PRAGMA table_info({table})")] for one in (first, now))
                drops += [f"ALTER TABLE {table} DROP COLUMN {name}" for name in after if name not in before]
    return drops


def test_an_older_backup_is_brought_up_to_date(ledger: Path, tmp_path: Path) -> None:
    """As it was before keys: without what later versions of the schema added."""
    copy = tmp_path / "copy.db"
    before = exported(ledger)
    copy_ledger(ledger, copy)
    sql(*drops_since(FIRST_SCHEMA, copy), "UPDATE alembic_version SET version_num = '0001'")(copy)
    put_back(copy, ledger, tmp_path / "aside.db")
    assert exported(ledger) == before
    with closing(sqlite3.connect(copy)) as connection:
        assert connection.execute("SELECT version_num FROM alembic_version").fetchone() == ("0001",)


def test_a_ledger_in_use_is_left_alone(capsys: pytest.CaptureFixture[str], ledger: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy.db"
    with server(url(ledger)) as client:
        copy_ledger(ledger, copy)
        client.post("/v1/shipments/import", content=csv_bytes(row()))
        before = client.get("/v1/shipments/export").content
        with pytest.raises(LedgerInUse):
            put_back(copy, ledger, tmp_path / "aside.db")
        code, _, err = run(capsys, ledger, "restore", str(copy))
        assert (code, "is in use; stop the server" in err) == (2, True)
        assert client.get("/v1/shipments/export").content == before
        client.post("/v1/shipments/import", content=csv_bytes(row(shipment="A-2")))
    assert exported(ledger).count(b"\r\n") == 603
    put_back(copy, ledger, tmp_path / "aside.db")
    assert exported(ledger).count(b"\r\n") == 601


@pytest.mark.parametrize("command", ["backup", "restore"])
def test_postgresql_has_tools_of_its_own(capsys: pytest.CaptureFixture[str], tmp_path: Path, command: str) -> None:
    code = main([command, str(tmp_path / "copy.db"), "--database-url", "postgresql+psycopg://nobody@127.0.0.1:1/none"])
    captured = capsys.readouterr()
    assert (code, captured.out, "pg_dump" in captured.err) == (2, "", True)
    assert names(tmp_path) == set()
