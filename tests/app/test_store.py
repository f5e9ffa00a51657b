"""The ledger's storage: what is written is read back, whole, by one writer at a time, on both databases."""

import sqlite3
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import psycopg
import pytest
from sqlalchemy import insert, select, text, update
from sqlalchemy.exc import IntegrityError, StatementError

from app.records.ledger import COLUMNS, LineRecord, ShipmentRecord, differing_columns, seller_key
from app.store.arrived import read_arrived, read_logger, read_on_the_way, read_plans
from app.store.database import Database
from app.store.revisions import ledger_revision
from app.store.schema import events, forecasts, lines, logger_readings, model_versions, sellers, shipments
from app.store.shipments import (
    StoredShipment,
    add_arrived,
    arrived_shipments,
    find_shipments,
    list_shipments,
    read_shipment,
    replace_arrived,
)
from tests.app.conftest import postgres_url
from tests.app.ledger_files import RECHECKED, csv_bytes, parsed, random_ledger, row
from tests.app.past_versions import past_versions

NOW = datetime(2027, 2, 1, 9, 30, tzinfo=UTC)
LATER = NOW + timedelta(days=3)


def one(**changes: str) -> ShipmentRecord:
    (record,) = parsed(csv_bytes(row(**changes)))
    return record


def add(database: Database, *added: ShipmentRecord) -> Sequence[str]:
    with database.writing() as connection:
        return add_arrived(connection, added, now=NOW)


def replace(database: Database, *new: ShipmentRecord) -> None:
    with database.writing() as connection:
        stored = find_shipments(connection, [record.shipment for record in new])
        pairs = [(stored[record.shipment], record) for record in new]
        replace_arrived(connection, pairs, reason="import", now=LATER)


def stored(database: Database, name: str) -> StoredShipment:
    with database.reading() as connection:
        return find_shipments(connection, [name])[name]


def test_postgresql_is_tried_too() -> None:
    assert postgres_url().startswith("postgresql+psycopg://")


def test_what_was_added_is_read_back(database: Database) -> None:
    written = parsed(random_ledger(200, seed=4))
    ids = add(database, *written)
    with database.reading() as connection:
        read = arrived_shipments(connection)
        assert [shipment.record for shipment in read] == written
        assert [shipment.id for shipment in read] == ids
        found = find_shipments(connection, [record.shipment for record in written[:5]] + ["none of this name"])
        assert [found[record.shipment].record for record in written[:5]] == written[:5]
        assert len(found) == 5
        by_id = read_shipment(connection, ids[7])
        assert by_id is not None
        assert by_id.record == written[7]
        assert read_shipment(connection, written[7].shipment) is None
    assert len(set(ids)) == len(written)
    assert {shipment.state for shipment in read} == {"arrived"}


def test_more_shipments_than_a_statement_takes(database: Database) -> None:
    written = parsed(random_ledger(1300, seed=5, rows_per_shipment=1))
    add(database, *written)
    with database.reading() as connection:
        found = find_shipments(connection, [record.shipment for record in written])
    assert [found[record.shipment].record for record in written] == written
    replace(database, *(record._replace(cold_packs=5) for record in written))
    with database.reading() as connection:
        assert {shipment.record.cold_packs for shipment in arrived_shipments(connection)} == {5}


def test_shipment_without_reference_goes_by_its_id(database: Database) -> None:
    (its_id,) = add(database, one())
    with database.writing() as connection:
        connection.execute(update(shipments).values(reference=None))
        assert find_shipments(connection, [its_id])[its_id].record.shipment == its_id
        assert find_shipments(connection, ["A-1"]) == {}


def test_pages_go_from_new_to_old(database: Database) -> None:
    written = parsed(random_ledger(21, seed=6))
    add(database, *written)
    with database.writing() as connection:
        connection.execute(update(shipments).where(shipments.c.number == 3).values(state="lost"))
    with database.reading() as connection:
        first = list_shipments(connection, limit=4)
        second = list_shipments(connection, limit=4, before=first[-1].number)
        assert [shipment.record for shipment in (*first, *second)] == written[::-1]
        assert [shipment.number for shipment in list_shipments(connection, state="lost")] == [3]
        wanted = written[4].shipment
        assert [s.record.shipment for s in list_shipments(connection, reference=wanted)] == [wanted]
        assert list_shipments(connection, state="planned") == []


def test_sellers_are_one_whatever_their_spelling(database: Database) -> None:
    # "é" as one character and as two; "ß" folds to "ss".
    names = ("Jardín Größe", " jardi\u0301n GRÖSSE ", "JARDÍN größe")
    assert len({seller_key(name) for name in names}) == 1
    add(database, *(one(shipment=f"A-{i}", seller=name, seller_kind="grower") for i, name in enumerate(names)))
    with database.reading() as connection:
        assert connection.execute(select(sellers.c.name, sellers.c.kind)).all() == [("Jardín Größe", "grower")]
        assert {shipment.record.seller for shipment in arrived_shipments(connection)} == {"Jardín Größe"}
    assert differing_columns(one(seller=names[0]), one(seller=names[1])) == []


def test_replaced_version_is_kept(database: Database) -> None:
    (its_id,) = add(database, one())
    before = stored(database, "A-1")
    replace(database, one(healthy="10", dead="7"))
    after = stored(database, "A-1")
    assert (after.id, after.number, after.revision) == (its_id, before.number, 2)
    assert after.etag != before.etag
    assert after.record == one(healthy="10", dead="7")
    with database.reading() as connection:
        (past,) = past_versions(connection, its_id)
    assert (past.revision, past.reason, past.replaced_at) == (1, "import", LATER)
    assert past.snapshot["shipment"]["ship_date"] == "2027-01-11"
    (line,) = past.snapshot["lines"]
    assert (line["healthy"], line["damaged"], line["dead"]) == (15, 3, 2)
    replace(database, one(healthy="11", dead="6"))
    with database.reading() as connection:
        assert [past.revision for past in past_versions(connection, its_id)] == [1, 2]


def follow(database: Database, state: str) -> None:
    """Give the only shipment what a file does not have."""
    with database.writing() as connection:
        connection.execute(
            update(shipments).values(state=state, departed_at=NOW, plan_json='{"a": 1}', rechecked_at=NOW)
        )
        connection.execute(update(lines).values(quantity=25, note="small"))
        connection.execute(insert(events).values(shipment=1, position=0, at=NOW, kind="departed"))
        connection.execute(insert(logger_readings).values(shipment=1, at=NOW, inside_c=21.5))
        connection.execute(
            insert(forecasts).values(shipment=1, model_version="v", seed=2**53 - 1, answer_json="{}", created_at=NOW)
        )


def remains(database: Database) -> tuple[bool, ...]:
    """Whether events, logger, departure, recheck time, quantity, plan and forecast are still there."""
    with database.reading() as connection:
        counts = [len(connection.execute(select(table)).all()) for table in (events, logger_readings)]
        departed = connection.execute(select(shipments.c.departed_at)).scalar_one() == NOW
        rechecked = connection.execute(select(shipments.c.rechecked_at)).scalar_one() == NOW
        quantity = connection.execute(select(lines.c.quantity, lines.c.note)).one() == (25, "small")
        plan = connection.execute(select(shipments.c.plan_json)).scalar_one() == '{"a": 1}'
        forecast = connection.execute(select(forecasts.c.seed)).scalar_one() == 2**53 - 1
    return (*(n == 1 for n in counts), departed, rechecked, quantity, plan, forecast)


@pytest.mark.parametrize(
    ("changes", "kept"),
    [
        ({"healthy": "10", "dead": "7"}, (True, True, True, True, True, True, True)),
        ({"inside_temp_c": "24"}, (False, False, False, True, True, True, True)),
        ({"inside_max_c": "24"}, (False, False, False, True, True, True, True)),
        ({"inside_min_c": "", "inside_max_c": ""}, (True, True, True, True, True, True, True)),
        ({"arrival_date": "2027-01-17"}, (False, False, False, True, True, True, True)),
        ({"genus": "Hoya"}, (True, True, True, True, False, True, True)),
        (RECHECKED, (True, True, True, False, True, True, True)),
    ],
)
def test_what_a_file_does_not_have_stays_while_it_holds(
    database: Database, changes: dict[str, str], kept: tuple[bool, ...]
) -> None:
    (its_id,) = add(database, one(inside_min_c="18", inside_max_c="23"))
    follow(database, "arrived")
    replace(database, one(**changes))
    assert remains(database) == kept
    with database.reading() as connection:
        snapshot = past_versions(connection, its_id)[0].snapshot
    assert snapshot["logger_readings"] == [{"at": NOW.isoformat(), "inside_c": 21.5}]
    assert snapshot["events"][0]["kind"] == "departed"


def test_arrival_of_a_shipment_on_its_way(database: Database) -> None:
    add(database, one())
    follow(database, "in_transit")
    with database.writing() as connection:
        bare = {"arrival_date": None, "arrived_revision": None, "corrected_revision": None}
        connection.execute(update(shipments).values(bare))
    replace(database, one())
    after = stored(database, "A-1")
    assert (after.state, after.arrived_revision, after.corrected_revision) == ("arrived", 2, 2)
    assert remains(database)[:3] == (True, True, True)


def test_revisions_tell_new_corrected_and_merely_priced_boxes(database: Database) -> None:
    add(database, *(one(shipment=f"A-{i}") for i in range(3)))
    add(database, one(shipment="A-3"))
    replace(database, one(shipment="A-1", healthy="14", damaged="4"))
    replace(database, one(shipment="A-2", unit_cost="8", **RECHECKED))
    with database.reading() as connection:
        assert ledger_revision(connection) == 4
        table = read_arrived(connection).shipments
    assert table.arrived_revision.tolist() == [1, 1, 1, 2]
    assert table.corrected_revision.tolist() == [1, 3, 1, 2]


def test_columns_for_a_fit(database: Database) -> None:
    assert len(read_empty(database)) == 0
    unnamed = row(shipment="A-1", seller="")
    add(
        database,
        *parsed(
            csv_bytes(
                row(shipment="A-2", inside_temp_c="21.5", inside_max_c="30", cold_packs="2", **RECHECKED),
                unnamed
                | {"genus": "Hoya", "cultivar": "No. 1", "sent": "7", "healthy": "5", "damaged": "", "dead": ""},
                unnamed | {"genus": "Begonia", "healthy": "", "damaged": "", "dead": "4"},
                unnamed | {"genus": "Begonia", "sent": "0", "healthy": "0", "damaged": "0", "dead": "0"},
            )
        ),
    )
    with database.writing() as connection:
        connection.execute(update(sellers).values(kind="exporter"))
        readings = [
            {
                "shipment": 1,
                "at": NOW.astimezone(timezone(timedelta(hours=7))) + timedelta(hours=h),
                "inside_c": 20.0 + h,
            }
            for h in (1, 0)
        ]
        connection.execute(insert(logger_readings), readings)
    with database.reading() as connection:
        boxes, table = read_arrived(connection)
        logger = read_logger(connection)
    assert boxes.seller.levels == ("invented ferns",)
    assert (boxes.seller.codes.tolist(), boxes.seller_kind.codes.tolist()) == ([0, -1], [0, -1])
    assert boxes.seller_kind.levels == ("exporter",)
    np.testing.assert_array_equal(boxes.inside_temp_c, [21.5, np.nan])
    np.testing.assert_array_equal(boxes.inside_min_c, [np.nan, np.nan])
    np.testing.assert_array_equal(boxes.inside_max_c, [30.0, np.nan])
    assert boxes.cold_packs.tolist() == [2, 0]
    assert boxes.ship_date.tolist() == [date(2027, 1, 11)] * 2
    assert boxes.recheck_date.astype(str).tolist() == ["2027-01-30", "NaT"]
    # The line of which nothing was sent says nothing.
    assert table.shipment.tolist() == [0, 1, 1]
    assert [table.genus.levels[code] for code in table.genus.codes] == ["Aglaonema", "Hoya", "Begonia"]
    assert table.cultivar.codes.tolist() == [-1, 0, -1]
    assert table.sent.tolist() == [20, 7, 20]
    assert table.healthy.tolist() == [15, 5, -1]
    assert table.damaged.tolist() == [3, -1, -1]
    assert table.dead.tolist() == [2, -1, 4]
    assert table.recheck_gone.tolist() == [1, -1, -1]
    assert logger.number.tolist() == [1, 1]
    assert logger.at.astype(str).tolist() == ["2027-02-01T09:30:00", "2027-02-01T10:30:00"]
    assert logger.inside_c.tolist() == [20.0, 21.0]


def read_empty(database: Database) -> np.ndarray:
    with database.reading() as connection:
        assert read_logger(connection).at.dtype == np.dtype("datetime64[s]")
        boxes, table = read_arrived(connection)
    assert boxes.ship_date.dtype == np.dtype("datetime64[D]")
    assert table.genus.levels == ()
    return table.shipment


def test_boxes_on_the_way_and_their_plans(database: Database) -> None:
    add(database, *(one(shipment=f"A-{i}") for i in range(4)))
    with database.writing() as connection:
        for number, state in ((2, "in_transit"), (3, "lost"), (4, "planned")):
            away = update(shipments).where(shipments.c.number == number)
            connection.execute(away.values(state=state, arrival_date=None))
        connection.execute(update(shipments).values(plan_json="{}"))
        for number in (1, 2):
            forecast = {"model_version": "v", "seed": 1, "answer_json": '{"healthy": 1}', "created_at": NOW}
            connection.execute(insert(forecasts).values(shipment=number, **forecast))
    with database.reading() as connection:
        away_now = read_on_the_way(connection)
        plans = read_plans(connection)
    assert [away_now.state.levels[code] for code in away_now.state.codes] == ["in_transit", "lost"]
    assert np.isnat(away_now.arrival_date).all()
    assert plans == {1: ("{}", '{"healthy": 1}')}


@pytest.mark.parametrize(
    "values",
    [{"healthy": 16}, {"dead": -1}, {"sent": 2, "damaged": None}, {"recheck_dead": -1}],
    ids=",".join,
)
def test_counts_that_cannot_be_are_refused_by_the_database(database: Database, values: dict[str, int]) -> None:
    add(database, one())
    with pytest.raises(IntegrityError), database.writing() as connection:
        connection.execute(update(lines).values(values))
    assert stored(database, "A-1").record == one()


def test_lines_need_a_shipment_and_go_with_it(database: Database) -> None:
    add(database, one())
    with pytest.raises(IntegrityError), database.writing() as connection:
        connection.execute(insert(lines).values(shipment=99, position=0, genus="Hoya"))
    with database.writing() as connection:
        connection.execute(shipments.delete())
        assert connection.execute(select(lines)).all() == []


def test_numbers_are_never_given_twice(database: Database) -> None:
    add(database, one())
    with database.writing() as connection:
        connection.execute(shipments.delete())
    add(database, one())
    assert stored(database, "A-1").number == 2


def test_only_one_model_version_is_active(database: Database) -> None:
    def version(name: str, *, active: bool) -> dict[str, object]:
        fixed = {"manifest_json": "{}", "arrays": bytes(range(256)), "ledger_revision": 0, "created_at": NOW}
        return {"version": name, "active": active, **fixed}

    with database.writing() as connection:
        rows = [version("a", active=False), version("b", active=False), version("c", active=True)]
        connection.execute(insert(model_versions), rows)
    with pytest.raises(IntegrityError), database.writing() as connection:
        connection.execute(insert(model_versions), version("d", active=True))
    with database.reading() as connection:
        assert connection.execute(select(model_versions.c.arrays).limit(1)).scalar_one() == bytes(range(256))


def test_timestamps_are_utc_and_need_an_offset(database: Database) -> None:
    add(database, one())
    bangkok = datetime(2027, 1, 11, 8, tzinfo=timezone(timedelta(hours=7)))
    with database.writing() as connection:
        connection.execute(update(shipments).values(departed_at=bangkok))
        departed = connection.execute(select(shipments.c.departed_at)).scalar_one()
    assert departed.isoformat() == "2027-01-11T01:00:00+00:00"
    with pytest.raises(StatementError, match="needs an offset"), database.writing() as connection:
        connection.execute(update(shipments).values(departed_at=bangkok.replace(tzinfo=None)))


def test_a_write_is_kept_whole_or_not_at_all(database: Database) -> None:
    with pytest.raises(ZeroDivisionError), database.writing() as connection:
        assert 1 / (len(add_arrived(connection, [one()], now=NOW)) - 1)
    with database.reading() as connection:
        assert arrived_shipments(connection) == []
        assert ledger_revision(connection) == 0


def test_a_reader_sees_one_moment(database: Database) -> None:
    add(database, one())
    with database.reading() as connection:
        first = len(arrived_shipments(connection))
        add(database, one(shipment="A-2"))
        assert (first, len(arrived_shipments(connection))) == (1, 1)
    with database.reading() as connection:
        assert len(arrived_shipments(connection)) == 2


def test_writers_wait_for_each_other(database_url: str) -> None:
    def count_up(_: int) -> None:
        # A process of its own would have its own connections too.
        with Database(database_url) as own:
            for _ in range(5):
                with own.writing() as connection:
                    n = connection.execute(select(sellers.c.revision)).scalar_one()
                    connection.execute(update(sellers).values(revision=n + 1))

    with Database(database_url) as database:
        add(database, one())
        with ThreadPoolExecutor(4) as pool:
            list(pool.map(count_up, range(4)))
        with database.reading() as connection:
            assert connection.execute(select(sellers.c.revision)).scalar_one() == 1 + 4 * 5


@pytest.mark.parametrize(
    ("changes", "columns"),
    [
        ({}, []),
        ({"healthy": "14", "damaged": "4"}, ["healthy", "damaged"]),
        ({"seller": "INVENTED ferns"}, []),
        ({"genus": "Hoya", "dead": "", "damaged": ""}, ["genus", "damaged", "dead"]),
    ],
)
def test_differing_columns(changes: dict[str, str], columns: list[str]) -> None:
    assert differing_columns(one(), one(**changes)) == columns


def test_order_of_lines_makes_no_difference_but_their_pairing_does() -> None:
    line = LineRecord("Hoya", None, 10, 9, 1, 0)
    other = LineRecord("Begonia", None, 10, 2, 3, 5)
    record = one()._replace(lines=(line, other))
    assert differing_columns(record, record._replace(lines=(other, line))) == []
    swapped = (line._replace(genus="Begonia"), other._replace(genus="Hoya"))
    assert "genus" in differing_columns(record, record._replace(lines=swapped))
    assert differing_columns(record, record._replace(lines=(line,))) != []
    assert differing_columns(record, record._replace(heat_packs=3), COLUMNS[:17]) == []


def test_a_connection_that_outlives_the_ledger_is_closed_when_it_is_given_back(database_url: str) -> None:
    database = Database(database_url)
    with database.reading() as connection:
        raw = connection.connection.dbapi_connection
        assert raw is not None
        database.close()
        assert connection.execute(text("SELECT 1")).scalar() == 1
    with pytest.raises((sqlite3.ProgrammingError, psycopg.OperationalError), match="closed"):
        raw.cursor().execute("SELECT 1")


def test_new_file_waits_for_another_that_begins_it(tmp_path: Path) -> None:
    """SQLite refuses the switch to a write-ahead log at once while another begins to write, whatever the patience."""
    file = tmp_path / "ledger.db"
    other = sqlite3.connect(file, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with Database(f"sqlite:///{file}") as database, ThreadPoolExecutor(1) as pool:
        prepared = pool.submit(database.prepare)
        try:
            with pytest.raises(TimeoutError):
                prepared.result(timeout=0.1)
        finally:
            other.execute("ROLLBACK")
        prepared.result()
        with database.reading() as connection:
            assert ledger_revision(connection) == 0
    other.close()
