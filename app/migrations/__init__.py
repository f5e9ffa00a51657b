"""The schema of the ledger, step by step (Alembic), from resources of this package.

A step that has been released is never changed: add the next.
"""

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from alembic.util import CommandError
from sqlalchemy import Connection, MetaData
from sqlalchemy.exc import DBAPIError

from app.problems import StoreUnavailable

__all__ = ["config", "newest", "upgrade"]


def config() -> Config:
    """Return Alembic's configuration; there is no ini file."""
    settings = Config()
    # A percent sign would begin an interpolation.
    settings.set_main_option("script_location", str(Path(__file__).parent).replace("%", "%%"))
    settings.set_main_option("path_separator", "os")
    return settings


def newest() -> str | None:
    """Return the version after all migrations."""
    return ScriptDirectory.from_config(config()).get_current_head()


def upgrade(connection: Connection, metadata: MetaData, to: str = "head") -> None:
    """Run the migrations that the database does not have yet, in the transaction of the connection.

    `metadata` is that of the tables as they should be. What a migration that fails and those before it have done goes
    with the transaction.

    Raises
    ------
    StoreUnavailable
        If the database is at a version that this program does not know, or a migration fails: which, and why.
    """
    settings = config()
    settings.attributes["connection"] = connection
    settings.attributes["metadata"] = metadata
    done: list[str] = []
    settings.attributes["done"] = done
    before = MigrationContext.configure(connection).get_current_revision()
    try:
        command.upgrade(settings, to)
    except CommandError as error:
        raise StoreUnavailable("it was written by a newer version of this program") from error
    except Exception as error:
        ahead = [step.revision for step in ScriptDirectory.from_config(settings).iterate_revisions(to, before)][::-1]
        if len(done) == len(ahead):
            raise
        why = str(error.orig if isinstance(error, DBAPIError) else error).partition("\n")[0]
        was = f"at {before}" if before else "without a schema"
        raise StoreUnavailable(f"migration {ahead[len(done)]} failed: {why}. The ledger is as it was, {was}") from error
