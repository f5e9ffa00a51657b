"""Copies of a ledger in a file, made and put back while nothing is half-written (SQLite's online backup)."""

import errno
import os
import sqlite3
import stat
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path

from app.problems import StoreUnavailable
from app.store.database import Database
from app.store.schema import SCHEMA_VERSION, metadata

# SQLite keeps these beside a database; left behind, they would be replayed into another one of its name.
COMPANIONS = ("-wal", "-shm", "-journal")
BUSY_SECONDS = 5.0
# Of the copy, since nothing else is written: no room left, or none for a file as large as this.
NOT_WRITTEN = (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR_WRITE)


class DamagedFile(Exception):  # noqa: N818 - what is wrong, in words, for the caller to raise as a problem
    """A file that is not a sound ledger; the text says why."""


class LedgerInUse(Exception):  # noqa: N818 - as above
    """Another process has the ledger open."""


def copy_ledger(source: Path, target: Path) -> None:
    """Copy a ledger as it is at one moment into a file of its own, whoever writes to it meanwhile.

    `target` is replaced as a whole once the copy is complete and on the disk; until then it stays as it is.

    Raises
    ------
    DamagedFile
        If the source cannot be read as a database.
    OSError
        If the target cannot be written.
    """
    with _beside(target) as copy:
        # Not "ro": who reads a ledger last, without the right to write, leaves its companions behind.
        _copy(source, copy, mode="rw")
        os.replace(copy, target)
    _sync(target.parent)


def put_back(source: Path, ledger: Path, aside: Path) -> bool:
    """Make a sound copy of `source` the ledger, the old one renamed to `aside`, and return whether there was one.

    Raises
    ------
    DamagedFile
        If the source is no ledger, is damaged, or is of a newer version of this program; nothing is changed.
    LedgerInUse
        If another process has the ledger open; nothing is changed.
    OSError
        If a file cannot be written or renamed.
    """
    with _beside(ledger) as copy:
        _copy(source, copy, mode="ro")
        _check(copy)
        _bring_up_to_date(copy)
        _sync(copy)
        with _alone(ledger):
            there_was = ledger.exists()
            if there_was:
                _same_access(ledger, copy)
            for companion in ("", *COMPANIONS):
                with suppress(FileNotFoundError):
                    os.rename(f"{ledger}{companion}", f"{aside}{companion}")
            os.replace(copy, ledger)
    _sync(ledger.parent)
    return there_was


@contextmanager
def _beside(target: Path) -> Iterator[Path]:
    """Yield a new file in the folder of another, which only its owner may read; gone afterwards unless renamed."""
    handle, name = tempfile.mkstemp(prefix=f".{target.name}.", suffix=".part", dir=target.parent)
    os.close(handle)
    try:
        yield Path(name)
    finally:
        for companion in ("", *COMPANIONS):
            Path(f"{name}{companion}").unlink(missing_ok=True)


def _same_access(ledger: Path, copy: Path) -> None:
    """Let the same people use a copy, also where someone else puts it back than who runs the server."""
    kept = ledger.stat()
    with suppress(PermissionError):
        os.chown(copy, kept.st_uid, kept.st_gid)
    os.chmod(copy, stat.S_IMODE(kept.st_mode))


def _copy(source: Path, copy: Path, *, mode: str) -> None:
    """Copy in one step, so that writers cannot make it begin again and again; they need not wait either."""
    try:
        with closing(_opened(source, mode)) as old, closing(_opened(copy, "rw")) as new:
            old.backup(new)
            # One file that needs no companions, wherever it is carried.
            new.execute("PRAGMA journal_mode = DELETE")
    except sqlite3.Error as error:
        if getattr(error, "sqlite_errorcode", None) in NOT_WRITTEN:
            raise OSError(errno.ENOSPC, f"the disk of {copy.parent} takes no more of it: {error}") from error
        raise DamagedFile(f"it cannot be read as a ledger: {error}") from error
    _sync(copy)


def _check(file: Path) -> None:
    try:
        # Opened to write, though nothing is written: SQLite does not check constraints of what it may only read.
        with closing(_opened(file, "rw")) as connection:
            found = connection.execute("PRAGMA integrity_check(1)").fetchone()[0]
            if found != "ok":
                raise DamagedFile(f"it is damaged: {found}")
            tables = {name for (name,) in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")}
            if "alembic_version" not in tables or "ledger" not in tables:
                raise DamagedFile("it is a database, but not a ledger of this program")
            if connection.execute("PRAGMA foreign_key_check").fetchone() is not None:
                raise DamagedFile("it is damaged: a row refers to another that is not there")
    except sqlite3.Error as error:
        raise DamagedFile(f"it is damaged: {error}") from error


def _bring_up_to_date(file: Path) -> None:
    try:
        with Database(f"sqlite:///{file}") as database:
            database.prepare()
        with closing(_opened(file, "rw")) as connection:
            tables = {name for (name,) in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")}
            connection.execute("PRAGMA journal_mode = DELETE")
    except StoreUnavailable as error:
        raise DamagedFile(error.reason) from error
    except sqlite3.Error as error:
        raise DamagedFile(str(error)) from error
    if missing := sorted(set(metadata.tables) - tables):
        raise DamagedFile(f"it is damaged: version {SCHEMA_VERSION} of a ledger has a table {missing[0]}")


@contextmanager
def _alone(ledger: Path) -> Iterator[None]:
    """Hold a ledger so that no other process has it open; one that cannot be read as a database is not held."""
    if not ledger.exists():
        yield
        return
    with closing(_opened(ledger, "rw")) as connection:
        try:
            # Only the last process that has a database open may end its write-ahead mode.
            connection.execute("PRAGMA journal_mode = DELETE")
            connection.execute("BEGIN EXCLUSIVE")
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
                raise LedgerInUse from error
        except sqlite3.DatabaseError:
            pass
        yield


def _opened(file: Path, mode: str) -> sqlite3.Connection:
    url = f"{file.resolve().as_uri()}?mode={mode}"
    return sqlite3.connect(url, uri=True, timeout=BUSY_SECONDS, isolation_level=None)


def _sync(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
