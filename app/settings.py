"""Settings of the service: the only reader of the environment."""

import ipaddress
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


def _loopback_only(host: str) -> str:
    if not is_loopback(host):
        raise ValueError("must be a loopback address (127.0.0.1, ::1 or localhost) while there are no keys")
    return host


class Settings(BaseSettings):
    """Where the server listens; each field is read from ``TRANSIT_<FIELD>`` unless given."""

    model_config = SettingsConfigDict(env_prefix="TRANSIT_", frozen=True)

    host: Annotated[str, AfterValidator(_loopback_only)] = "127.0.0.1"
    port: Annotated[int, Field(ge=0, le=65_535)] = 8000
