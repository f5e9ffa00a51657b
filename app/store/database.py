"""The database of the ledger: SQLite in a file, or PostgreSQL by URL.

Each store operation takes a connection of its own, from `reading` or `writing`. Writers wait for each other on both
databases (BEGIN IMMEDIATE; an advisory lock), so whatever a write transaction has read stays true until it commits.
A file that is removed or replaced while it is open is told before a transaction and once more after its commit, before
anybody hears that it was kept (`app.store.ledger_file`).
"""

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Lock
from time import monotonic, sleep
from typing import Any, Self, TypeVar

from sqlalchemy import URL, Connection, create_engine, event, inspect, make_url, text
from sqlalchemy.exc import ArgumentError, DatabaseError, DBAPIError, InterfaceError, OperationalError
from sqlalchemy.exc import TimeoutError as PoolTimeout

from app.problems import StoreUnavailable
from app.store.ledger_file import LedgerFile
from app.store.schema import SCHEMA_VERSION, metadata

__all__ = ["Connection", "Database", "sqlite_file"]

BUSY_TIMEOUT_MS = 30_000
SWITCH_AGAIN_S = 0.01
CONNECT_TIMEOUT_S = 10
# Any constant: what counts is that every writer of this program takes the same one.
WRITE_LOCK = 7_238_461_902_118_345
BEGINNING = "transit_beginning"
WRITES = {BEGINNING: "BEGIN IMMEDIATE"}
Found = TypeVar("Found")


class Database:
    """A ledger's database; nothing is opened or created before it is first used."""

    def __init__(self, url: str) -> None:
        """Take the URL, ``sqlite:///FILE`` or ``postgresql+psycopg://...``.

        Raises
        ------
        StoreUnavailable
            If it is not the URL of a database.
        """
        parsed = _parsed(url)
        self._is_sqlite = parsed.get_backend_name() == "sqlite"
        path = _file_of(parsed)
        self._file = None if path is None else LedgerFile(path)
        # SQLite waits for its locks itself, so a connection more does no harm: let none wait for the pool.
        options: dict[str, Any] = {"max_overflow": -1} if self._is_sqlite else {"pool_pre_ping": True}
        arguments = {} if self._is_sqlite else {"connect_timeout": CONNECT_TIMEOUT_S}
        self.engine = create_engine(parsed, connect_args=arguments, hide_parameters=True, **options)
        if self._is_sqlite:
            event.listen(self.engine, "connect", _on_sqlite_connect)
            event.listen(self.engine, "begin", _on_sqlite_begin)
        self._prepared = self._closed = False
        self._preparing = Lock()

    def __enter__(self) -> Self:
        """Return itself."""
        return self

    def __exit__(self, *_exception: object) -> None:
        """Close all connections."""
        self.close()

    def close(self) -> None:
        """Close all connections; those in use when they are given back."""
        self._closed = True
        self.engine.dispose()

    @property
    def absent(self) -> bool:
        """Whether the ledger is a file that does not exist yet: then it is empty, and its first use creates it."""
        return self._file is not None and self._file.absent

    def prepare(self) -> None:
        """Bring the schema up to date; Alembic is loaded only when it is behind.

        Raises
        ------
        StoreUnavailable
            If the database cannot be opened, or is that of a newer version of this program.
        """
        with self._preparing:
            if self._prepared:
                return
            if self._file is not None:
                self._file.opened(write_ahead=self._write_ahead())
            with self._connected() as connection:
                version = _schema_version(connection)
            if version != SCHEMA_VERSION:
                with self._begun(**WRITES) as connection:
                    from app.migrations import upgrade  # noqa: PLC0415 - rarely needed, and slow to import

                    upgrade(connection, metadata)
            self._prepared = True

    def prepare_if_present(self) -> None:
        """Bring the schema of a ledger that exists up to date, and leave a file that does not exist alone.

        Raises
        ------
        StoreUnavailable
            As `prepare`; also where the folder of the file does not exist.
        """
        if not self.absent:
            self.prepare()
        elif self._file is not None and not self._file.path.parent.is_dir():
            raise StoreUnavailable(f"there is no folder {self._file.path.parent}")

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Yield a connection whose statements all see the ledger at one moment.

        Raises
        ------
        StoreUnavailable
            If the database cannot be used.
        """
        self.prepare()
        options = {} if self._is_sqlite else {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}
        with self._begun(**options) as connection:
            yield connection

    def read(self, read: Callable[[Connection], Found]) -> Found | None:
        """Return what `read` finds in the ledger, all at one moment; None where there is no ledger yet.

        Raises
        ------
        StoreUnavailable
            If the database cannot be used.
        """
        if self.absent:
            return None
        with self.reading() as connection:
            return read(connection)

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Yield a connection that alone may write; its changes are kept as a whole, or not at all on an exception.

        Raises
        ------
        StoreUnavailable
            If the database cannot be used, or another writer holds it for too long.
        """
        self.prepare()
        with self._begun(**WRITES) as connection:
            yield connection

    @contextmanager
    def _begun(self, **options: Any) -> Iterator[Connection]:
        if self._file is not None:
            # Before a connection is made: SQLite would create another file in the place of one that is gone.
            self._file.check()
        with self._connected(**options) as connection:
            with connection.begin():
                if options == WRITES and not self._is_sqlite:
                    connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": WRITE_LOCK})
                if options == WRITES and self._file is not None:
                    self._file.check(in_transaction=True)
                yield connection
            if options == WRITES and self._file is not None:
                self._file.check(in_transaction=True)

    @contextmanager
    def _connected(self, **options: Any) -> Iterator[Connection]:
        try:
            with self.engine.connect() as connection:
                try:
                    yield connection.execution_options(**options)
                finally:
                    if self._closed:
                        # Of a call that outlived the ledger: the pool that it would go back to closes nothing any more.
                        connection.detach()
        except PoolTimeout as error:
            raise StoreUnavailable("all connections to the database are in use") from error
        except DBAPIError as error:
            if isinstance(error, OperationalError | InterfaceError) or type(error) is DatabaseError:
                raise StoreUnavailable(str(error.orig).partition("\n")[0]) from error
            raise

    def _write_ahead(self) -> bool:
        """Let readers go on while one writes, and return whether they may.

        The file remembers, so this happens once in its life.
        """
        last_try = monotonic() + BUSY_TIMEOUT_MS / 1000
        while True:
            try:
                with self._connected(**{BEGINNING: ""}) as connection:
                    mode = connection.exec_driver_sql("PRAGMA journal_mode").scalar()
                    if mode != "wal":
                        mode = connection.exec_driver_sql("PRAGMA journal_mode = WAL").scalar()
                return bool(mode == "wal")
            except StoreUnavailable as error:
                # Of two that switch a new file at once, SQLite lets neither wait for the other: it refuses one.
                if not _is_busy(error.__cause__) or monotonic() > last_try:
                    raise
                sleep(SWITCH_AGAIN_S)


def sqlite_file(url: str) -> Path | None:
    """Return the file of a ledger; None if it is on PostgreSQL.

    Raises
    ------
    StoreUnavailable
        If it is not the URL of a database.
    """
    return _file_of(_parsed(url))


def _parsed(url: str) -> URL:
    try:
        return make_url(url)
    except (ArgumentError, ValueError):
        # The URL may hold a password: it is not repeated.
        raise StoreUnavailable("the URL of the database cannot be read") from None


def _file_of(url: URL) -> Path | None:
    return Path(url.database) if url.get_backend_name() == "sqlite" and url.database else None


def _is_busy(error: BaseException | None) -> bool:
    return isinstance(error, DBAPIError) and getattr(error.orig, "sqlite_errorcode", None) == sqlite3.SQLITE_BUSY


def _schema_version(connection: Connection) -> str | None:
    if not inspect(connection).has_table("alembic_version"):
        return None
    version: str | None = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    return version


def _on_sqlite_connect(connection: Any, _record: object) -> None:
    # The driver shall not begin transactions by itself: it would leave table definitions outside of them.
    connection.isolation_level = None
    cursor = connection.cursor()
    cursor.execute(f"PRAGMA busy_timeout = {BUSY_TIMEOUT_MS}")
    cursor.execute("PRAGMA foreign_keys = ON")
    cursor.close()


def _on_sqlite_begin(connection: Connection) -> None:
    # A transaction that reads first and writes later would fail, not wait, where another has written in between.
    beginning = connection.get_execution_options().get(BEGINNING, "BEGIN")
    if beginning:
        connection.exec_driver_sql(beginning)
