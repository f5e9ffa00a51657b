"""One shipment by its id."""

import re
from collections.abc import Sequence
from datetime import datetime
from typing import NamedTuple

from app.boxes.shipment_answer import shipment_answer
from app.problems import NotFound
from app.schemas import Caution
from app.store import (
    OK,
    Connection,
    Database,
    OpenDoubt,
    Reading,
    Reply,
    ShipmentLife,
    StoredPlan,
    open_doubts,
    read_life,
    read_plan,
    read_trace,
)
from model.reference import Reference

# As ids are made; anything else is not looked up, since a database refuses some characters.
MOST_DOUBTS = 100
_ID = re.compile("s[0-9a-f]{24}")


class WholeShipment(NamedTuple):
    """A shipment with everything recorded of it."""

    life: ShipmentLife
    plan: StoredPlan | None
    trace: list[Reading]
    doubts: list[OpenDoubt]


def find_shipment(connection: Connection, shipment_id: str) -> ShipmentLife:
    """Return a shipment.

    Raises
    ------
    NotFound
        If there is none with this id.
    """
    life = read_life(connection, shipment_id) if _ID.fullmatch(shipment_id) else None
    if life is None:
        raise NotFound("There is no such shipment: GET /v1/shipments lists them with their ids.")
    return life


def check_ledger(database: Database) -> None:
    """Refuse to look for a shipment in a ledger that nothing was written to yet.

    Raises
    ------
    NotFound
        If there is no ledger.
    """
    if database.absent:
        raise NotFound("There is no such shipment: the ledger is empty.")


def find_whole_shipment(database: Database, shipment_id: str) -> WholeShipment:
    """Return a shipment with its plan and its trace, all read at one moment.

    Raises
    ------
    NotFound
        If there is none with this id.
    StoreUnavailable
        If the database cannot be used.
    """
    check_ledger(database)
    with database.reading() as connection:
        return whole(connection, find_shipment(connection, shipment_id))


def whole(connection: Connection, life: ShipmentLife) -> WholeShipment:
    """Return a shipment with its plan, its trace and what looks wrong of its record."""
    number = life.stored.number
    doubts = open_doubts(connection, [number], limit=MOST_DOUBTS)
    return WholeShipment(life, read_plan(connection, number), read_trace(connection, number), doubts)


def answer_shipment(database: Database, shipment_id: str, reference: Reference, now: datetime) -> Reply:
    """Return a shipment as a whole.

    Raises
    ------
    NotFound, StoreUnavailable
        As `find_whole_shipment`.
    """
    return shipment_reply(find_whole_shipment(database, shipment_id), reference, now)


def shipment_reply(
    found: WholeShipment, reference: Reference, now: datetime, cautions: Sequence[Caution] = ()
) -> Reply:
    """Return the answer to a read or a change of a shipment, with cautions about the change."""
    answer = shipment_answer(found.life, found.plan, found.trace, reference, now, cautions, doubts=found.doubts)
    return Reply(OK, {"ETag": found.life.stored.etag}, answer.model_dump_json().encode())
