"""The schema of the ledger, step by step (Alembic), from resources of this package."""

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from alembic.util import CommandError
from sqlalchemy import Connection

from app.problems import StoreUnavailable


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


def upgrade(connection: Connection) -> None:
    """Run the migrations that the database does not have yet, in the transaction of the connection.

    Raises
    ------
    StoreUnavailable
        If the database is at a version that this program does not know.
    """
    settings = config()
    settings.attributes["connection"] = connection
    try:
        command.upgrade(settings, "head")
    except CommandError as error:
        raise StoreUnavailable("it was written by a newer version of this program") from error
