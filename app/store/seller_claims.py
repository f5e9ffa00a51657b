"""How claims against sellers ended."""

from typing import NamedTuple

from sqlalchemy import Connection, select

from app.store.schema import shipments
from app.store.shipments import ARRIVED


class SettledClaim(NamedTuple):
    """The end of one claim; `outcome` is refunded, replaced or refused."""

    seller: str
    outcome: str
    amount: float | None
    currency: str | None


def settled_claims(connection: Connection) -> list[SettledClaim]:
    """Return the settled claims of arrived boxes with a seller, in order of creation."""
    of = shipments.c
    query = select(of.seller, of.claim_outcome, of.claim_amount, of.currency).order_by(of.number)
    settled = of.seller.is_not(None) & of.claim_outcome.is_not(None) & (of.state == ARRIVED)
    return [SettledClaim(*row) for row in connection.execute(query.where(settled))]
