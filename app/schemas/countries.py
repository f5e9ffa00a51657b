"""Codes of countries."""

from functools import cache
from importlib import resources
from typing import Annotated

from pydantic import Field

CountryCode = Annotated[
    str,
    Field(
        pattern="^[A-Z]{2}$",
        json_schema_extra={"x-expected": "two capital letters, the code of a country (ISO 3166-1 alpha-2) such as TH"},
    ),
]


@cache
def country_codes() -> frozenset[str]:
    """Return the codes of ISO 3166-1 alpha-2, from the list that comes with the time zones."""
    text = resources.files("tzdata.zoneinfo").joinpath("iso3166.tab").read_text(encoding="utf-8")
    return frozenset(line.split("\t")[0] for line in text.splitlines() if line and not line.startswith("#"))
