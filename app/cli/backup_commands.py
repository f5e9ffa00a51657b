"""``python -m app backup`` and ``restore``."""

from pathlib import Path

from app.clock import moment
from app.problems import Problem
from app.settings import Settings
from app.store import DamagedFile, LedgerInUse, copy_ledger, put_back, sqlite_file

TOOLS = "the ledger is on PostgreSQL: use its own tools, pg_dump to save it and pg_restore to bring it back"


class NoCopy(Problem):
    """A ledger cannot be backed up or restored; nothing was changed."""

    status = 409
    code = "conflict"
    title = "No copy was made"


def backup(file: Path, settings: Settings, *, force: bool) -> str:
    """Copy the ledger to a file, while a server runs or not, and say so.

    Raises
    ------
    NoCopy
        If there is no ledger, it is not in a file, or the file cannot be written or is there already.
    """
    ledger = _ledger_file(settings)
    if not ledger.exists():
        raise NoCopy(f"{ledger}: there is no ledger to back up")
    if file.exists():
        if file.samefile(ledger):
            raise NoCopy(f"{file}: is the ledger itself; name another file")
        if not force:
            raise NoCopy(f"{file}: is there already; name another file, or add --force to replace it")
        if not file.is_file():
            raise NoCopy(f"{file}: is not a file")
    try:
        copy_ledger(ledger, file)
    except DamagedFile as error:
        raise NoCopy(f"{ledger}: {error}") from error
    except OSError as error:
        raise NoCopy(f"{file}: {error.strerror}") from error
    return f"The ledger is copied to {file} ({file.stat().st_size:,} bytes)."


def restore(file: Path, settings: Settings) -> str:
    """Make a backup the ledger again and say so; the old ledger is kept beside it.

    Raises
    ------
    NoCopy
        If the file is no sound ledger, the ledger is in use or not in a file; nothing is changed.
    """
    ledger = _ledger_file(settings)
    if not file.is_file():
        raise NoCopy(f"{file}: there is no such file")
    if ledger.exists() and file.samefile(ledger):
        raise NoCopy(f"{file}: is the ledger itself")
    aside = ledger.with_name(f"{ledger.name}.before-{moment():%Y%m%dT%H%M%S%fZ}")
    try:
        there_was = put_back(file, ledger, aside)
    except DamagedFile as error:
        raise NoCopy(f"{file}: {error}. The ledger is as it was.") from error
    except LedgerInUse as error:
        raise NoCopy(f"{ledger}: is in use; stop the server and any refit first, then restore") from error
    except OSError as error:
        raise NoCopy(f"{error.filename or ledger}: {error.strerror}") from error
    kept = f" The one before is kept as {aside}." if there_was else ""
    return (
        f"{ledger} is the ledger of {file} again.{kept}\n"
        "Its keys are those of the backup, also ones revoked since: see python -m app key list."
    )


def _ledger_file(settings: Settings) -> Path:
    ledger = sqlite_file(settings.database_url)
    if ledger is None:
        raise NoCopy(TOOLS)
    return ledger
