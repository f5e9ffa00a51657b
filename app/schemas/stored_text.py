"""Texts that the ledger keeps, and codes of countries."""

from functools import cache
from importlib import resources
from typing import Annotated

from pydantic import Field, StringConstraints

# Control characters break lists and files later on, and one of the databases takes no NUL.
StoredText = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=120, pattern=r"^[^\x00-\x1f\x7f-\x9f]*$"),
    Field(json_schema_extra={"x-expected": "a text of 1 to 120 characters without control characters"}),
]
StoredNotes = Annotated[
    str,
    StringConstraints(strip_whitespace=True, max_length=120, pattern=r"^[^\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]*$"),
    Field(json_schema_extra={"x-expected": "a text of up to 120 characters, line ends the only control characters"}),
]
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
