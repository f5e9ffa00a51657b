"""What the ledger counted of each seller's boxes: late boxes, damaged and dead plants, how claims ended."""

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date

import numpy as np
from numpy.typing import NDArray

from app.batch import Lane
from app.records import known_transit_days
from app.schemas import Claims, ShrunkShare
from app.sellers.shrinkage import Tally, Usual
from app.store import ArrivedBoxes, Connection, SettledClaim, ShipmentColumns, read_arrived, settled_claims
from model.decision import minor_digits
from model.reference import CONSTANTS, Reference

NOTHING = Tally()
LATE = Usual(CONSTANTS.usual_late_share, CONSTANTS.average_worth_boxes, things="boxes", state="late")
DAMAGED = Usual(CONSTANTS.usual_damaged_share, CONSTANTS.average_worth_plants, things="plants", state="damaged")
DEAD = Usual(CONSTANTS.usual_dead_share, CONSTANTS.average_worth_plants, things="plants", state="dead")
HONOURED = Usual(CONSTANTS.claim_chance, CONSTANTS.average_worth_claims, things="settled claims", state="honoured")


@dataclass(frozen=True, slots=True)
class SellerFigures:
    """The counts of one seller, or of all."""

    boxes: int = 0
    first_ship_date: date | None = None
    last_ship_date: date | None = None
    late: Tally = NOTHING
    damaged: Tally = NOTHING
    dead: Tally = NOTHING
    claims: tuple[SettledClaim, ...] = ()

    @property
    def honoured(self) -> Tally:
        """The settled claims that were refunded or replaced."""
        good = sum(claim.outcome != "refused" for claim in self.claims)
        return Tally(good, len(self.claims), len(self.claims), good, len(self.claims))


@dataclass(frozen=True, slots=True)
class LedgerFigures:
    """The counts of every seller by its key, and of all boxes together."""

    everyone: SellerFigures
    by_seller: dict[str, SellerFigures] = field(default_factory=dict)

    def of(self, key: str) -> SellerFigures:
        """Return the counts of a seller; a seller without boxes has none."""
        return self.by_seller.get(key, SellerFigures())

    def late(self, key: str) -> ShrunkShare:
        """Return the share of late boxes."""
        return LATE.shrunk(self.of(key).late, self.everyone.late)

    def damaged(self, key: str) -> ShrunkShare:
        """Return the share of plants damaged at unboxing."""
        return DAMAGED.shrunk(self.of(key).damaged, self.everyone.damaged)

    def dead(self, key: str) -> ShrunkShare:
        """Return the share of plants dead at unboxing."""
        return DEAD.shrunk(self.of(key).dead, self.everyone.dead)

    def claims(self, key: str) -> Claims:
        """Return how claims ended."""
        own = self.of(key)
        outcomes = Counter(claim.outcome for claim in own.claims)
        amounts: defaultdict[str, float] = defaultdict(float)
        for claim in own.claims:
            if claim.amount:
                amounts[claim.currency or ""] += claim.amount
        return Claims(
            refunded=outcomes["refunded"],
            replaced=outcomes["replaced"],
            refused=outcomes["refused"],
            amounts={code: round(amount, minor_digits(code)) for code, amount in sorted(amounts.items())},
            honoured=HONOURED.shrunk(own.honoured, self.everyone.honoured),
        )


def read_figures(connection: Connection, reference: Reference) -> LedgerFigures:
    """Return what the ledger counted."""
    arrived = read_arrived(connection)
    late = _late(arrived.shipments, reference)
    of_seller: defaultdict[str, list[SettledClaim]] = defaultdict(list)
    for claim in settled_claims(connection):
        of_seller[claim.seller].append(claim)
    sellers = arrived.shipments.seller
    everything = np.ones(len(arrived.shipments.number), dtype=bool)
    by_seller = {
        key: _figures(arrived, late, sellers.codes == code, of_seller[key]) for code, key in enumerate(sellers.levels)
    }
    everyone = _figures(arrived, late, everything, [claim for own in of_seller.values() for claim in own])
    return LedgerFigures(everyone, by_seller)


def _figures(
    arrived: ArrivedBoxes, late: NDArray[np.bool_], its: NDArray[np.bool_], claims: Iterable[SettledClaim]
) -> SellerFigures:
    shipments, lines = arrived
    dates = shipments.ship_date[its]
    own, n_boxes, n_late = its[lines.shipment], int(its.sum()), int((late & its).sum())
    return SellerFigures(
        boxes=n_boxes,
        first_ship_date=dates.min().astype(object) if n_boxes else None,
        last_ship_date=dates.max().astype(object) if n_boxes else None,
        late=Tally(n_late, n_boxes, n_boxes, n_late, n_boxes),
        damaged=_plants(lines.shipment, lines.damaged, lines.sent, own),
        dead=_plants(lines.shipment, lines.dead, lines.sent, own),
        claims=tuple(claims),
    )


def _plants(
    shipment: NDArray[np.int64], counted: NDArray[np.int64], sent: NDArray[np.int64], own: NDArray[np.bool_]
) -> Tally:
    """Return the tally over boxes of the lines in which this count is known."""
    known = own & (counted >= 0)
    boxes, box = np.unique(shipment[known], return_inverse=True)
    hits, plants = np.zeros(len(boxes), dtype=np.int64), np.zeros(len(boxes), dtype=np.int64)
    np.add.at(hits, box, counted[known])
    np.add.at(plants, box, sent[known])
    return Tally.of_boxes(hits, plants)


def _late(shipments: ShipmentColumns, reference: Reference) -> NDArray[np.bool_]:
    """Return whether each box was on the way for longer than the p90 of its service and lane."""
    known: dict[tuple[int, int, int], tuple[float, str, str]] = {}
    late = np.zeros(len(shipments.number), dtype=bool)
    for i in range(len(late)):
        key = (int(shipments.origin.codes[i]), int(shipments.destination.codes[i]), int(shipments.service.codes[i]))
        if key not in known:
            ends = (shipments.origin.levels[key[0]], shipments.destination.levels[key[1]])
            lane = Lane.by_codes(*ends, shipments.service.levels[key[2]], reference)
            origin, destination = lane.places["origin"], lane.places["destination"]
            known[key] = (lane.usual_quantiles().p90, origin.time_zone, destination.time_zone)
        p90, *zones = known[key]
        ship_date, arrival_date = shipments.ship_date[i].astype(object), shipments.arrival_date[i].astype(object)
        departed_at, opened_at = shipments.moments(i)
        late[i] = known_transit_days(ship_date, arrival_date, departed_at, opened_at, (zones[0], zones[1])) > p90
    return late
