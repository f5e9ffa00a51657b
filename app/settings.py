"""Settings of the service: the only reader of the environment."""

import ipaddress
import os
import re
from pathlib import Path
from typing import Annotated, Literal, NamedTuple

from pydantic import AfterValidator, AwareDatetime, Field
from pydantic_settings import BaseSettings, SettingsConfigDict

WEATHER_NAMES = {"latitude", "longitude", "time_zone"}


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


def _weather_template(url: str | None) -> str | None:
    if url is None:
        return None
    names = set(re.findall(r"\{(\w*)\}", url))
    if not re.match(r"https?://[^\s/]+", url) or not {"latitude", "longitude"} <= names <= WEATHER_NAMES:
        # The URL may hold a key: it is not repeated.
        raise ValueError("must be http(s)://... with {latitude} and {longitude}, and perhaps {time_zone}, in it")
    return url


def _addresses(text: str) -> str:
    for part in filter(None, map(str.strip, text.split(","))):
        try:
            ipaddress.ip_network(part)
        except ValueError:
            raise ValueError("must be addresses or networks of trusted proxies, with commas between them") from None
    return text


class WeatherService(NamedTuple):
    """Where forecasts come from: a URL template, and the dotted paths of three lists in the JSON that it answers."""

    url: str
    dates: str
    minima: str
    maxima: str


class Settings(BaseSettings):
    """Where the server listens and keeps its ledger; each field is read from ``TRANSIT_<FIELD>`` unless given."""

    model_config = SettingsConfigDict(env_prefix="TRANSIT_", frozen=True)

    host: Annotated[str, Field(min_length=1)] = "127.0.0.1"
    """An address that other computers can reach needs at least one key in the ledger: see `app.cli.key_commands`."""
    port: Annotated[int, Field(ge=0, le=65_535)] = 8000
    workers: Annotated[int, Field(ge=1, le=64)] = 1
    """Processes that answer at the port, each a whole server on the same ledger."""
    database_url: Annotated[str, AfterValidator(_known_database), Field(repr=False)] = "sqlite:///transit.db"
    refit_draws: Annotated[int | None, Field(ge=1024, le=65_536)] = None
    """Draws weighed in a refit: fewer are faster and rougher. By the size of the ledger unless given."""
    quick_update: bool = True
    """Whether a box that is unboxed changes the answers at once, by weighing the draws of the version that serves."""
    refit_after: Literal["auto", "off"] | Annotated[int, Field(ge=1)] = "auto"
    """After so many new or corrected boxes a refit follows by itself; auto: after each box as long as the ledger has
    fewer than 100, then after one new box for every 50; off: only when asked for."""
    trusted_proxies: Annotated[str, AfterValidator(_addresses)] = "127.0.0.1,::1"
    """Addresses or networks of proxies whose ``X-Forwarded-For`` says where a call comes from."""
    key_calls_a_minute: Annotated[int, Field(ge=0)] = 600
    """How many calls a key may make in a minute of each server process; 0: as many as it likes."""
    log_format: Literal["auto", "json", "text"] = "auto"
    """Lines of the log; auto: text at a terminal, JSON elsewhere."""
    slow_seconds: Annotated[float, Field(gt=0.0)] = 5.0
    """A call that takes longer is logged as a slow one."""
    now: AwareDatetime | None = None
    """The moment that the service takes for now, with its offset, for demonstrations and tests: see `app.clock`."""

    weather_url: Annotated[str | None, AfterValidator(_weather_template), Field(repr=False)] = None
    """Template of an open weather service's URL; none is asked unless this is set."""
    weather_dates: Annotated[str, Field(min_length=1)] = "daily.time"
    weather_minima: Annotated[str, Field(min_length=1)] = "daily.temperature_2m_min"
    weather_maxima: Annotated[str, Field(min_length=1)] = "daily.temperature_2m_max"
    """Dotted paths of the lists of dates, daily minima and daily maxima, °C, in its JSON answer."""

    @property
    def weather_service(self) -> WeatherService | None:
        """The weather service to ask, if any."""
        if not self.weather_url:
            return None
        return WeatherService(self.weather_url, self.weather_dates, self.weather_minima, self.weather_maxima)

    def child_environment(self) -> dict[str, str]:
        """Return the environment in which another process of this program has the same settings.

        Settings travel there and not as arguments, since a database's URL may hold a password.
        """
        own = {f"TRANSIT_{name.upper()}": str(value) for name, value in self if value is not None}
        path = os.pathsep.join(filter(None, [str(Path(__file__).parents[1]), os.environ.get("PYTHONPATH")]))
        return {**os.environ, **own, "PYTHONPATH": path}
