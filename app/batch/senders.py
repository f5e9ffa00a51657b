"""Who sends a box and when, as the model names them."""

from datetime import date

from app.records import seller_key


def seller_level(seller: str | None) -> str | None:
    """Return the name under which the model knows a seller; spellings that the ledger takes for one share it."""
    return None if seller is None else seller_key(seller)


def quarter_of(ship_date: date) -> int:
    """Return 4 x year + quarter, the first being 0."""
    return 4 * ship_date.year + (ship_date.month - 1) // 3


def drift_quarter(seller: str | None, ship_date: date | None) -> int | None:
    """Return the quarter of a seller's effect; None for the latest with boxes, and where no seller is named."""
    return None if seller is None or ship_date is None else quarter_of(ship_date)
