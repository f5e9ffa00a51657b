"""The claim as a page to print, A4 or Letter; it runs no script and loads its style sheet only."""

from datetime import date, datetime
from functools import cache
from typing import TYPE_CHECKING

from app.claims.draft import day_in_words
from app.claims.tally import in_words, price_in_words
from app.schemas import ClaimAnswer

if TYPE_CHECKING:
    from jinja2 import Template

CLAIM_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; style-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
}
CLOCKS = {
    "seller_window": "Seller",
    "payment_protection": "Payment protection",
    "carrier_damage": "Carrier, damage",
    "carrier_delay": "Carrier, delay",
}
RECOURSES = {"refund": "Refund", "replacement": "Replacement with the next order", "none": "Nothing agreed"}


def claim_page(answer: ClaimAnswer) -> str:
    """Return the page; every text in it is escaped."""
    return _template().render(
        claim=answer,
        clock_names=CLOCKS,
        recourse_names=RECOURSES,
        in_words=in_words,
        price=price_in_words,
        when=when_in_words,
    )


def when_in_words(when: datetime | date | None) -> str:
    """Return a day, or a moment with its offset."""
    if when is None:
        return "ask"
    if isinstance(when, datetime):
        offset = f"{when:%z}"
        return f"{day_in_words(when.date())}, {when:%H:%M} (UTC{offset[:3]}:{offset[3:5]})"
    return f"end of {day_in_words(when)}"


@cache
def _template() -> "Template":
    from jinja2 import Environment, PackageLoader, StrictUndefined  # noqa: PLC0415 - most answers are no page

    environment = Environment(
        loader=PackageLoader("app.page"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("claim.html")
