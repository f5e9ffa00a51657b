"""The schema of the ledger, step by step (Alembic), from resources of this package.

A step that has been released is never changed: add the next.
"""

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from alembic.util import CommandError
from sqlalchemy import Connection, MetaData

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


def upgrade(connection: Connection, metadata: MetaData) -> None:
    """Run the migrations that the database does not have yet, in the transaction of the connection.

    `metadata` is that of the tables as they should be.

    Raises
    ------
    StoreUnavailable
        If the database is at a version that this program does not know.
    """
    settings = config()
    settings.attributes["connection"] = connection
    settings.attributes["metadata"] = metadata
    try:
        command.upgrade(settings, "head")
    except CommandError as error:
        raise StoreUnavailable("it was written by a newer version of this program") from error
