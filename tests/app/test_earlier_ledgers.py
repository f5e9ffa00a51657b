"""Ledgers of every schema that there has been: brought up to date with all that is in them, or left as they were."""

from typing import Any

import pytest
from sqlalchemy import Connection, StaticPool, create_engine, inspect, select, text

from app.ledger.export import export_csv
from app.migrations import upgrade
from app.problems import StoreUnavailable
from app.store.database import Database
from app.store.schema import SCHEMA_VERSION, metadata
from tests.app.earlier_ledgers import FOLDER, Rows, kept, put_back, restored, revisions

REVISIONS = revisions()
# What migrations work out, by the column's first schema: of the three readings of box 1 the least and the most, and
# what version fit-1, which refit "done" made, says that it has seen, and that it was let pass.
WORKED_OUT: dict[str, dict[tuple[str, str], list[Any]]] = {
    "0003": {
        ("shipments", "inside_min_c"): [18.0, None, None, None],
        ("shipments", "inside_max_c"): [24.5, None, None, None],
    },
    "0005": {("refits", "ledger_revision"): [7, None]},
    "0008": {("model_versions", "passed"): [True, None]},
}


def rows_of(connection: Connection) -> Rows:
    """Return all rows, in the order of their keys."""
    return {
        table.name: [
            dict(row) for row in connection.execute(select(table).order_by(*table.primary_key.columns)).mappings()
        ]
        for table in metadata.sorted_tables
    }


def brought_up_to_date(revision: str) -> Rows:
    """Return what is to become of the kept ledger: what it has, what is worked out, and nothing else."""
    before = kept(revision)
    after = {
        table.name: [dict.fromkeys(table.columns.keys()) | row for row in before.get(table.name, [])]
        for table in metadata.sorted_tables
    }
    for since, found in WORKED_OUT.items():
        for (table, name), values in found.items():
            if revision < since:
                for row, value in zip(after[table], values, strict=True):
                    row[name] = value
    order = {table.name: table.primary_key.columns.keys() for table in metadata.sorted_tables}
    return {name: sorted(rows, key=lambda row: [row[key] for key in order[name]]) for name, rows in after.items()}


def everything_in(connection: Connection) -> dict[str, Any]:
    """Return tables, columns, indexes and rows as they are, whatever schema that is."""
    inspector = inspect(connection)
    columns, indexes = inspector.get_multi_columns(), inspector.get_multi_indexes()
    return {
        place[1]: (
            [column["name"] for column in columns[place]],
            sorted(str(index["name"]) for index in indexes[place]),
            sorted(map(repr, connection.execute(text(f"SELECT * FROM {place[1]}")).all())),  # noqa: S608 - own tables
        )
        for place in columns
    }


def test_a_ledger_of_every_schema_is_kept() -> None:
    assert sorted(file.stem for file in FOLDER.glob("*.sql")) == REVISIONS
    assert REVISIONS[-1] == SCHEMA_VERSION
    # No table and no column of the newest is empty there.
    newest = kept(SCHEMA_VERSION)
    filled = {(table, name) for table in newest for row in newest[table] for name in row if row[name] is not None}
    assert {(table.name, column.name) for table in metadata.sorted_tables for column in table.columns} == filled


def definitions(connection: Connection) -> dict[str, str]:
    """Return the SQL of each table and index of an SQLite database, by name."""
    found = connection.execute(text("SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL")).all()
    return {name: " ".join(sql.split()) for name, sql in found}


def test_steps_that_were_released_are_as_they_were() -> None:
    """They make the schema of each ledger that was kept."""
    engine = create_engine("sqlite://", poolclass=StaticPool)
    with engine.connect() as made_now:
        for revision in REVISIONS:
            upgrade(made_now, metadata, revision)
            then = restored(revision)
            with then.connect() as kept_then:
                assert definitions(made_now) == definitions(kept_then), revision
            then.dispose()
    engine.dispose()


@pytest.mark.parametrize("revision", REVISIONS)
def test_an_earlier_ledger_comes_up_to_date_with_its_data(database: Database, revision: str) -> None:
    put_back(database, revision)
    database.prepare()
    with database.reading() as connection:
        assert rows_of(connection) == brought_up_to_date(revision)
    exported = [line.split(b",") for line in export_csv(database).splitlines()]
    columns = [exported[0].index(name) for name in (b"shipment", b"genus", b"sent", b"healthy", b"damaged", b"dead")]
    assert [[line[i] for i in columns] for line in exported[1:]] == [
        [b"A-1", b"Hoya", b"20", b"15", b"3", b"2"],
        [b"A-1", b"Inventia", b"7", b"7", b"0", b"0"],
        [b"A-2", b"Begonia", b"5", b"4", b"1", b"0"],
    ]


def test_a_migration_that_fails_half_way_leaves_the_ledger_as_it_was_and_is_named(database: Database) -> None:
    """An index of another hand has the name that the last statement of 0005 wants: four steps have been taken then."""
    name = "ix_shipments_corrected_revision"
    put_back(database, "0001")
    with database.engine.connect() as connection, connection.begin():
        connection.execute(text(f"CREATE INDEX {name} ON shipments (reference)"))
    with database.engine.connect() as connection:
        before = everything_in(connection)
    with pytest.raises(StoreUnavailable) as refused:
        database.prepare()
    [line] = refused.value.lines()
    assert line.startswith("the ledger cannot be used: migration 0005 failed: ")
    assert line.endswith(" already exists. The ledger is as it was, at 0001")
    with database.engine.connect() as connection:
        assert everything_in(connection) == before
    with database.engine.connect() as connection, connection.begin():
        connection.execute(text(f"DROP INDEX {name}"))
    database.prepare()
    with database.reading() as connection:
        assert rows_of(connection) == brought_up_to_date("0001")
