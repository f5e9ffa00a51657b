"""Shipments in the ledger: found, listed, added, replaced."""

import secrets
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, Connection, and_, bindparam, delete, func, insert, or_, select, true, update
from sqlalchemy.engine import Row

from app.records import (
    FITTED_COLUMNS,
    LINE_COLUMNS,
    SHIPMENT_COLUMNS,
    LineRecord,
    ShipmentRecord,
    differing_columns,
    seller_key,
)
from app.store.chunks import chunks
from app.store.history import keep_versions
from app.store.revisions import next_revision, reserve_numbers
from app.store.schema import events, lines, logger_readings, sellers, shipments
from app.store.sellers import ensure_sellers

ARRIVED = "arrived"
# Facts of the journey that a file does not have; they go where its dates or its temperatures say otherwise.
JOURNEY_COLUMNS = ("ship_date", "arrival_date", "inside_temp_c")
# A file need not have them: what is blank contradicts nothing.
EXTREMES = ("inside_min_c", "inside_max_c")

Values = dict[str, Any]


class StoredShipment(NamedTuple):
    """A shipment as recorded; `revision` counts its versions, `number` orders shipments by their creation."""

    number: int
    id: str
    reference: str | None
    state: str
    revision: int
    arrived_revision: int | None
    corrected_revision: int | None
    record: ShipmentRecord

    @property
    def etag(self) -> str:
        """The strong ETag of this version, quotation marks included."""
        return f'"{self.id}-{self.revision}"'


def new_id() -> str:
    """Return an opaque id; it begins with a letter."""
    return f"s{secrets.token_hex(12)}"


def find_shipments(connection: Connection, names: Sequence[str]) -> dict[str, StoredShipment]:
    """Return the shipments of these names (references, or ids of shipments without one), by name."""
    found: dict[str, StoredShipment] = {}
    for part in chunks(names):
        named = or_(shipments.c.reference.in_(part), and_(shipments.c.reference.is_(None), shipments.c.id.in_(part)))
        found |= {stored.record.shipment: stored for stored in _load(connection, named)}
    return found


def read_shipment(connection: Connection, shipment_id: str) -> StoredShipment | None:
    """Return the shipment with this id, or None."""
    return next(iter(_load(connection, shipments.c.id == shipment_id)), None)


def arrived_shipments(connection: Connection) -> list[StoredShipment]:
    """Return all shipments that have arrived, in order of creation."""
    return _load(connection, shipments.c.state == ARRIVED)


def arrived_since(connection: Connection, day: date) -> list[StoredShipment]:
    """Return the shipments that arrived on a day or after it, in order of creation."""
    return _load(connection, and_(shipments.c.state == ARRIVED, shipments.c.arrival_date >= day))


def list_arrived_names(connection: Connection) -> list[str]:
    """Return the names of all shipments that have arrived, in order of creation."""
    name = func.coalesce(shipments.c.reference, shipments.c.id)
    query = select(name).where(shipments.c.state == ARRIVED).order_by(shipments.c.number)
    return list(connection.execute(query).scalars())


def list_shipments(
    connection: Connection,
    *,
    state: str | None = None,
    reference: str | None = None,
    before: int | None = None,
    arrived_by: date | None = None,
    limit: int = 100,
) -> list[StoredShipment]:
    """Return up to `limit` shipments, the newest first, created before the one with the number `before`.

    Those that have arrived, where only these are asked for, by the day of arrival: those of the day `arrived_by` that
    were created before, and those of earlier days.
    """
    asked: ColumnElement[bool] = true()
    if state is not None:
        asked &= shipments.c.state == state
    if reference is not None:
        asked &= shipments.c.reference == reference
    number, day = shipments.c.number, shipments.c.arrival_date
    if before is not None:
        earlier = number < before
        asked &= earlier if arrived_by is None else or_(day < arrived_by, and_(day == arrived_by, earlier))
    newest = (day.desc(), number.desc()) if state == ARRIVED else (number.desc(),)
    page = connection.execute(select(number).where(asked).order_by(*newest).limit(limit)).scalars().all()
    found = {stored.number: stored for stored in _load(connection, number.in_(page))}
    return [found[of_page] for of_page in page]


def add_arrived(connection: Connection, records: Sequence[ShipmentRecord], *, now: datetime) -> list[str]:
    """Add arrived shipments, in a write transaction, each with its name as reference, and return their ids."""
    if not records:
        return []
    ensure_sellers(connection, sellers_of(records), now)
    revision = next_revision(connection)
    rows, line_rows = [], []
    for number, record in zip(reserve_numbers(connection, len(records)), records, strict=True):
        rows.append(
            {
                "number": number,
                "id": new_id(),
                "reference": record.shipment,
                "state": ARRIVED,
                "revision": 1,
                "arrived_revision": revision,
                "corrected_revision": revision,
                "created_at": now,
                "updated_at": now,
                **shipment_values(record),
            }
        )
        line_rows += _line_values(number, record.lines)
    connection.execute(insert(shipments), rows)
    if line_rows:
        connection.execute(insert(lines), line_rows)
    return [row["id"] for row in rows]


def replace_arrived(
    connection: Connection,
    replacements: Sequence[tuple[StoredShipment, ShipmentRecord]],
    *,
    reason: str,
    now: datetime,
) -> None:
    """Replace shipments whole, in a write transaction, by records of their arrival; the old versions are kept.

    What a record cannot say stays where it still holds: plan, forecast and reference always; times, events and logger
    where dates and mean temperature are the same and no other extremes are given; quantity and note of a line where it
    is the same plant at the same place in the list.
    """
    if not replacements:
        return
    ensure_sellers(connection, sellers_of(record for _, record in replacements), now)
    revision = next_revision(connection)
    for part in chunks(replacements):
        numbers = [stored.number for stored, _ in part]
        keep_versions(connection, numbers, reason=reason, now=now)
        _forget(connection, part)
        changes = [_change(stored, record, revision, now) for stored, record in part]
        values: Values = {name: bindparam(name) for name in changes[0] if name != "its_number"}
        connection.execute(
            update(shipments).where(shipments.c.number == bindparam("its_number")).values(values), changes
        )
        _replace_lines(connection, {stored.number: record.lines for stored, record in part})


def _forget(connection: Connection, part: Sequence[tuple[StoredShipment, ShipmentRecord]]) -> None:
    """Drop what a new record makes untrue; it has been kept with the old version."""
    moved = [stored.number for stored, record in part if _moved(stored, record)]
    for table in (logger_readings, events):
        connection.execute(delete(table).where(table.c.shipment.in_(moved)))
    times = dict.fromkeys(("departed_at", "arrived_at", "opened_at"))
    connection.execute(update(shipments).where(shipments.c.number.in_(moved)).values(times))
    rechecked = [stored.number for stored, record in part if _differs(stored, record, ("recheck_date",))]
    connection.execute(update(shipments).where(shipments.c.number.in_(rechecked)).values(rechecked_at=None))


def _moved(stored: StoredShipment, record: ShipmentRecord) -> bool:
    # Before its arrival only the departure of a box can be at odds with the record of it.
    return _differs(stored, record, JOURNEY_COLUMNS if stored.state == ARRIVED else JOURNEY_COLUMNS[:1]) or any(
        None not in (recorded, given) and recorded != given
        for recorded, given in ((getattr(stored.record, name), getattr(record, name)) for name in EXTREMES)
    )


def _differs(stored: StoredShipment, record: ShipmentRecord, names: Sequence[str]) -> bool:
    return any(getattr(stored.record, name) != getattr(record, name) for name in names)


def _replace_lines(connection: Connection, of_shipment: Mapping[int, Sequence[LineRecord]]) -> None:
    these = lines.c.shipment.in_(of_shipment)
    kept = {
        (row.shipment, row.position, row.genus, row.cultivar): {"quantity": row.quantity, "note": row.note}
        for row in connection.execute(select(lines).where(these))
    }
    connection.execute(delete(lines).where(these))
    rows = [row for number, of_record in of_shipment.items() for row in _line_values(number, of_record)]
    for row in rows:
        plant = (row["shipment"], row["position"], row["genus"], row["cultivar"])
        row.update(kept.get(plant, {"quantity": None, "note": ""}))
    if rows:
        connection.execute(insert(lines), rows)


def _load(connection: Connection, wanted: ColumnElement[bool]) -> list[StoredShipment]:
    """Return the shipments for which a condition holds, in order of creation."""
    line_columns = [lines.c[name] for name in LINE_COLUMNS]
    of_shipment: defaultdict[int, list[LineRecord]] = defaultdict(list)
    query = select(lines.c.shipment, *line_columns).join(shipments).where(wanted)
    for number, *values in connection.execute(query.order_by(lines.c.shipment, lines.c.position)):
        of_shipment[number].append(LineRecord(*values))
    rows = connection.execute(
        select(shipments, sellers.c.name.label("seller_name"))
        .outerjoin(sellers)
        .where(wanted)
        .order_by(shipments.c.number)
    )
    return [_stored(row, tuple(of_shipment.get(row.number, ()))) for row in rows]


def _stored(row: Row[Any], its_lines: tuple[LineRecord, ...]) -> StoredShipment:
    name = row.reference if row.reference is not None else row.id
    cells = [getattr(row, column) for column in SHIPMENT_COLUMNS[2:]]
    record = ShipmentRecord._make([name, row.seller_name, *cells, its_lines])
    return StoredShipment._make([*(getattr(row, column) for column in StoredShipment._fields[:-1]), record])


def sellers_of(records: Iterable[ShipmentRecord]) -> dict[str, tuple[str, str | None]]:
    """Return name and kind of each seller that is named, by its key."""
    found: dict[str, tuple[str, str | None]] = {}
    for record in records:
        if record.seller is not None:
            key = seller_key(record.seller)
            name, kind = found.get(key, (record.seller, None))
            found[key] = (name, kind or record.seller_kind)
    return found


def shipment_values(record: ShipmentRecord) -> Values:
    """Return what the columns of a shipment say of a record."""
    values = record._asdict()
    del values["shipment"], values["lines"]
    values["seller"] = None if record.seller is None else seller_key(record.seller)
    return values


def _line_values(number: int, of_record: Iterable[LineRecord]) -> list[Values]:
    return [{"shipment": number, "position": i, **line._asdict()} for i, line in enumerate(of_record)]


def _change(stored: StoredShipment, record: ShipmentRecord, revision: int, now: datetime) -> Values:
    arrives = stored.state != ARRIVED
    fitted = arrives or not FITTED_COLUMNS.isdisjoint(differing_columns(stored.record, record))
    return {
        "its_number": stored.number,
        "state": ARRIVED,
        "revision": stored.revision + 1,
        "arrived_revision": revision if arrives else stored.arrived_revision,
        "corrected_revision": revision if fitted else stored.corrected_revision,
        "updated_at": now,
        **shipment_values(record),
    }
