"""A ledger whose file goes away under a running server: nothing is acknowledged that is not kept.

Of a server as it was before the file was looked at: import 200, plan 201, and after a restart both were gone.
"""

from pathlib import Path

import httpx
import pytest

from app.problems import StoreUnavailable
from app.store.database import Database
from app.store.shipments import add_arrived, arrived_shipments
from tests.app.ledger_files import csv_bytes, parsed, row
from tests.app.servers import server
from tests.app.shipment_calls import PLAN
from tests.moments import NOW

RISK = {"queries": [{"genus": "Hoya", "transit_days": 6, "temperature": {"inside_c": 20}}]}

SELLER = {"name": "Nowhere", "kind": "grower"}


def imported(client: httpx.Client, name: str) -> int:
    return client.post("/v1/shipments/import", content=csv_bytes(row(shipment=name))).status_code


def moved(file: Path, to: Path) -> None:
    """Rename a ledger with its companions."""
    for companion in ("", "-wal", "-shm"):
        Path(f"{file}{companion}").rename(f"{to}{companion}")


def test_a_ledger_removed_or_replaced_under_a_server_takes_and_tells_nothing_until_it_is_back(tmp_path: Path) -> None:
    file, aside = tmp_path / "ledger.db", tmp_path / "aside.db"
    with server(f"sqlite:///{file}") as client:
        assert imported(client, "kept") == 200
        moved(file, aside)

        def refused() -> bool:
            """All that needs the ledger is refused, and no other is made in its place."""
            answers = [
                client.post("/v1/shipments/import", content=csv_bytes(row(shipment="lost"))),
                client.post("/v1/shipments", json=PLAN),
                client.put(
                    "/v1/sellers/Nowhere", json={"name": "Nowhere", "kind": "grower"}, headers={"if-none-match": "*"}
                ),
                client.post("/v1/model/refit"),
                client.get("/v1/shipments"),
                client.get("/v1/shipments/export"),
            ]
            return [a.json()["code"] for a in answers] == ["store_unavailable"] * len(answers)

        assert refused()
        assert not file.exists()
        # What needs no ledger is answered as ever.
        assert client.post("/v1/risk", json=RISK).status_code == 200
        with Database(f"sqlite:///{file}") as another:
            another.prepare()
        assert refused()
        file.unlink()
        moved(aside, file)
        assert imported(client, "kept as well") == 200
    with Database(f"sqlite:///{file}") as ledger, ledger.reading() as connection:
        assert {stored.record.shipment for stored in arrived_shipments(connection)} == {"kept", "kept as well"}


def add_and_remove(ledger: Database, file: Path) -> None:
    """Add a box, and remove a file before that is kept."""
    with ledger.writing() as connection:
        add_arrived(connection, parsed(csv_bytes(row())), now=NOW)
        file.unlink()


@pytest.mark.parametrize("gone", ["", "-wal"])
def test_a_write_is_not_acknowledged_where_its_file_went_away_before_the_commit(tmp_path: Path, gone: str) -> None:
    """The changes of a write stand in the companion until they are carried over."""
    file = tmp_path / "ledger.db"
    with Database(f"sqlite:///{file}") as ledger:
        ledger.prepare()
        with pytest.raises(StoreUnavailable) as refused:
            add_and_remove(ledger, Path(f"{file}{gone}"))
        assert "put the file back" in refused.value.reason
        assert not ledger.absent
        with pytest.raises(StoreUnavailable), ledger.writing():
            raise AssertionError("it may not begin")
