"""Settings of the service: the only reader of the environment."""

import ipaddress
import os
import re
from pathlib import Path
from typing import Annotated

from pydantic import AfterValidator, Field
from pydantic_settings import BaseSettings, SettingsConfigDict


def is_loopback(host: str) -> bool:
    """Whether a host name or address can only be reached from this computer."""
    name = host.removeprefix("[").removesuffix("]").removesuffix(".").lower()
    if name == "localhost":
        return True
    try:
        return ipaddress.ip_address(name).is_loopback
    except ValueError:
        return False


def _known_database(url: str) -> str:
    if not re.fullmatch(r"sqlite:///[^?]+|postgresql\+psycopg://.+", url) or url.startswith("sqlite:///:memory:"):
        # The URL may hold a password: it is not repeated.
        raise ValueError("must be sqlite:///FILE or postgresql+psycopg://USER@HOST/DATABASE")
    return url


class Settings(BaseSettings):
    """Where the server listens and keeps its ledger; each field is read from ``TRANSIT_<FIELD>`` unless given."""

    model_config = SettingsConfigDict(env_prefix="TRANSIT_", frozen=True)

    host: Annotated[str, Field(min_length=1)] = "127.0.0.1"
    """An address that other computers can reach needs at least one key in the ledger: see `app.key_commands`."""
    port: Annotated[int, Field(ge=0, le=65_535)] = 8000
    database_url: Annotated[str, AfterValidator(_known_database), Field(repr=False)] = "sqlite:///transit.db"
    refit_draws: Annotated[int | None, Field(ge=1024, le=65_536)] = None
    """Draws weighed in a refit: fewer are faster and rougher. By the size of the ledger unless given."""

    def child_environment(self) -> dict[str, str]:
        """Return the environment in which another process of this program has the same settings.

        Settings travel there and not as arguments, since a database's URL may hold a password.
        """
        own = {f"TRANSIT_{name.upper()}": str(value) for name, value in self if value is not None}
        path = os.pathsep.join(filter(None, [str(Path(__file__).parents[1]), os.environ.get("PYTHONPATH")]))
        return {**os.environ, **own, "PYTHONPATH": path}
