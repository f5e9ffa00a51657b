"""A small ledger of every schema that there has been, as text of SQL: ``python -m tests.app.earlier_ledgers``.

The command writes those that are missing, from the top: an empty SQLite file is brought to the schema and filled with
the rows below, as far as it has their tables and columns. Those that are there stay as they were written, as ledgers
out in the world do. All shops, boxes and keys are invented; texts of JSON and bytes are only kept, so they are short.
"""

import sqlite3
from contextlib import closing
from datetime import UTC, date, datetime
from functools import cache
from pathlib import Path
from typing import Any

from alembic.script import ScriptDirectory
from sqlalchemy import (
    Connection,
    Engine,
    MetaData,
    StaticPool,
    column,
    create_engine,
    insert,
    inspect,
    select,
    table,
    text,
)

from app.migrations import config, upgrade
from app.store.database import Database, sqlite_file
from app.store.schema import metadata

FOLDER = Path(__file__).with_name("ledgers_by_schema")
VERSION_TABLE = "alembic_version"
Rows = dict[str, list[dict[str, Any]]]

AT = datetime(2026, 11, 27, 12, 30, tzinfo=UTC)
MADE = {"created_at": AT, "updated_at": AT}
BOX = {
    "service": "courier", "origin": "SRG", "destination": "GLA", "container": "foam_box", "roots": "damp_wrap",
    "heat_pack_hours": 72.0, "heat_packs": 1, "ship_date": date(2026, 11, 2), "revision": 2, **MADE,
}  # fmt: skip
ARRIVED = {
    "state": "arrived", "arrival_date": date(2026, 11, 9), "arrived_at": datetime(2026, 11, 9, 14, 5, tzinfo=UTC),
    "arrived_revision": 5, "corrected_revision": 6, "inside_temp_c": 20.5, "currency": "GBP",
    "arrival_notes": "one corner wet", "photos_json": '["box.jpg"]', "checked_revision": 6, "lost_chance": 0.03,
}  # fmt: skip

ROWS: Rows = {
    "ledger": [{"id": 1, "revision": 9, "last_number": 4, "held_at": AT}],
    "sellers": [
        {"key": "jardín ficticio", "name": "Jardín Ficticio", "kind": "grower", "country": "CR", "notes": "'best'",
         "revision": 3, "recourse": "refund", "packing_json": '{"container": "foam_box"}', "answers_json": "{}",
         **MADE},
    ],
    "shipments": [
        {"number": 1, "id": "s-one", "reference": "A-1", "seller": "jardín ficticio", "inside_min_c": 18.0,
         "inside_max_c": 24.5, "confirmed_revision": 6, **BOX, **ARRIVED},
        {"number": 2, "id": "s-two", "reference": "A-2", "recheck_date": date(2026, 11, 23), "rechecked_at": AT,
         "cold_packs": 1, "opened_at": datetime(2026, 11, 9, 15, tzinfo=UTC), "claim_outcome": "refunded",
         "claim_amount": 12.5, "claim_settled_on": date(2026, 11, 25), "recheck_notes": "two rotted", **BOX, **ARRIVED},
        {"number": 3, "id": "s-three", "state": "planned", "seller_kind": "grower", "plan_json": '{"lines": []}',
         **BOX},
        {"number": 4, "id": "s-four", "state": "lost", "departed_at": AT, **BOX},
    ],
    "lines": [
        {"shipment": 1, "position": 0, "genus": "Hoya", "cultivar": "No. 1", "sent": 20, "healthy": 15, "damaged": 3,
         "dead": 2, "unit_cost": 4.25, "sale_value": 19.0, "note": ""},
        {"shipment": 1, "position": 1, "genus": "Inventia", "sent": 7, "healthy": 7, "damaged": 0, "dead": 0,
         "note": ""},
        {"shipment": 2, "position": 0, "genus": "Begonia", "quantity": 6, "sent": 5, "healthy": 4, "damaged": 1,
         "dead": 0, "recheck_healthy": 3, "recheck_damaged": 0, "recheck_dead": 1, "recheck_gone": 1, "note": "small"},
        {"shipment": 3, "position": 0, "genus": "Calathea", "quantity": 9, "note": ""},
    ],
    "logger_readings": [
        {"shipment": 1, "at": datetime(2026, 11, day, tzinfo=UTC), "inside_c": inside_c}
        for day, inside_c in ((3, 19.0), (5, 18.0), (8, 24.5))
    ],
    "events": [{"shipment": 4, "position": 0, "at": AT, "kind": "departed", "note": ""}],
    "forecasts": [
        {"shipment": 3, "model_version": "fit-1", "seed": 2**40, "answer_json": '{"routes": []}', "created_at": AT},
    ],
    "shipment_history": [
        {"shipment": 1, "revision": 1, "reason": "corrected", "snapshot_json": '{"shipments": []}', "replaced_at": AT},
    ],
    "idempotency_keys": [
        {"key": "first", "body_sha256": "ab" * 32, "status": 201, "headers_json": "{}", "answer": b'{"id": 1}',
         "created_at": AT},
        {"key": "under way", "body_sha256": "cd" * 32, "created_at": AT},
    ],
    "model_versions": [
        {"version": "fit-1", "manifest_json": "{}", "arrays": b"\x00\x01\xff", "ledger_revision": 7, "active": True,
         "created_at": AT, "passed": True},
        {"version": "fit-0", "manifest_json": "{}", "arrays": b"\x00", "ledger_revision": 4, "active": False,
         "created_at": AT},
    ],
    "refits": [
        {"id": "done", "state": "activated", "version": "fit-1", "ledger_revision": 7, "created_at": AT,
         "started_at": AT, "seen_at": AT, "finished_at": AT, "by_itself": True},
        {"id": "stopped", "state": "failed", "reason": "the server stopped", "created_at": AT},
    ],
    "api_keys": [
        {"id": "till", "name": "till", "scope": "write", "secret_sha256": "12" * 32, "created_at": AT,
         "expires_at": datetime(2027, 11, 27, tzinfo=UTC), "last_used_at": AT},
        {"id": "left", "name": "who left", "scope": "read", "secret_sha256": "34" * 32, "created_at": AT,
         "revoked_at": AT},
    ],
    "doubts": [
        {"shipment": 2, "position": 0, "corrected_revision": 6, "line": 0, "column": "healthy", "code": "swapped",
         "text": "healthy and dead may be swapped", "chance": 0.8},
    ],
    "quick_updates": [
        {"version": "fit-1", "revision": 8, "claimed_at": AT, "found_json": "{}", "draws": b"\x93NUMPY"},
    ],
}  # fmt: skip


def revisions() -> list[str]:
    """Return all schemas, the first first."""
    return [step.revision for step in ScriptDirectory.from_config(config()).walk_revisions()][::-1]


def file_of(revision: str) -> Path:
    """Return where the ledger of a schema is kept."""
    return FOLDER / f"{revision}.sql"


def restored(revision: str) -> Engine:
    """Return the ledger that is kept of a schema, in memory."""
    engine = create_engine("sqlite://", poolclass=StaticPool)
    with engine.connect() as connection:
        driver = connection.connection.driver_connection
        assert isinstance(driver, sqlite3.Connection)
        driver.executescript(file_of(revision).read_text(encoding="utf-8"))
    return engine


@cache
def kept(revision: str) -> Rows:
    """Return the rows of the ledger that is kept of a schema; moments in UTC."""
    engine = restored(revision)
    with engine.connect() as connection:
        found = MetaData()
        found.reflect(connection)
        rows = {
            each.name: [
                {name: _in_utc(value) for name, value in row.items()}
                for row in connection.execute(select(each)).mappings()
            ]
            for each in found.sorted_tables
            if each.name != VERSION_TABLE
        }
    engine.dispose()
    return rows


def put_back(database: Database, revision: str) -> None:
    """Make an empty database the ledger that is kept of a schema.

    SQLite takes the text as it is. On PostgreSQL, whose SQL differs, the migrations make the schema, which they do on
    SQLite too as a test shows, and the rows are those of the text.
    """
    file = sqlite_file(database.engine.url.render_as_string(hide_password=False))
    if file is not None:
        with closing(sqlite3.connect(file)) as opened:
            opened.executescript(file_of(revision).read_text(encoding="utf-8"))
        return
    with database.engine.connect() as connection, connection.begin():
        upgrade(connection, metadata, revision)
        fill(connection, kept(revision))


def fill(connection: Connection, rows: Rows) -> None:
    """Add rows to a ledger, as far as it has their tables and columns."""
    connection.execute(text("DELETE FROM ledger"))
    there = {
        name: {found["name"]: found["type"] for found in columns}
        for (_, name), columns in inspect(connection).get_multi_columns().items()
    }
    for each in metadata.sorted_tables:
        if each.name not in there:
            continue
        target = table(each.name, *(column(name, kind) for name, kind in there[each.name].items()))
        for row in rows.get(each.name, []):
            connection.execute(
                insert(target).values({name: row[name] for name in row.keys() & there[each.name].keys()})
            )


def _in_utc(value: Any) -> Any:
    return value.replace(tzinfo=UTC) if isinstance(value, datetime) and value.tzinfo is None else value


def main() -> None:
    """Write the ledgers that are missing."""
    FOLDER.mkdir(exist_ok=True)
    for revision in revisions():
        if file_of(revision).exists():
            continue
        engine = create_engine("sqlite://", poolclass=StaticPool)
        with engine.connect() as connection:
            upgrade(connection, metadata, revision)
            fill(connection, ROWS)
            connection.commit()
            driver = connection.connection.driver_connection
            assert isinstance(driver, sqlite3.Connection)
            file_of(revision).write_text("\n".join(driver.iterdump()) + "\n", encoding="utf-8")
        engine.dispose()


if __name__ == "__main__":
    main()
