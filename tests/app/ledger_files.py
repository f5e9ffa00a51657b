"""CSV files of invented boxes: no shop, no seller and no shipment in them exists.

``python -m tests.app.ledger_files N_ROWS SEED > FILE`` writes one.
"""

import csv
import io
import sys
from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest

from app.ledger.csv_file import parse_ledger
from app.problems import InvalidCells
from app.records.ledger import COLUMNS, FILE_COLUMNS, REQUIRED_COLUMNS, ShipmentRecord
from model.reference.tables import load_reference
from tests.moments import NOW

ROW = {
    "shipment": "A-1",
    "seller": "Invented Ferns",
    "service": "courier",
    "origin": "SRG",
    "destination": "GLA",
    "container": "foam_box",
    "roots": "damp_wrap",
    "heat_pack_hours": "72",
    "ship_date": "2027-01-11",
    "arrival_date": "2027-01-16",
    "inside_temp_c": "",
    "genus": "Aglaonema",
    "cultivar": "",
    "sent": "20",
    "healthy": "15",
    "damaged": "3",
    "dead": "2",
}
"""One row that is as it should be, in the columns that every file has."""

RECHECKED = {
    "recheck_date": "2027-01-30",
    "recheck_healthy": "14",
    "recheck_damaged": "2",
    "recheck_dead": "1",
    "recheck_gone": "1",
}
"""What adds up to the 18 plants of `ROW` that were alive."""


def row(**changes: str) -> dict[str, str]:
    """Return `ROW` with changes."""
    return ROW | changes


def csv_text(rows: Iterable[dict[str, str]], columns: Iterable[str] | None = None, **dialect: Any) -> str:
    """Return a file of rows; its columns are the required ones and those that any row has besides."""
    rows = list(rows)
    named = {name for cells in rows for name in cells}
    header = list(columns or [name for name in FILE_COLUMNS if name in REQUIRED_COLUMNS or name in named])
    out = io.StringIO()
    writer = csv.DictWriter(out, header, restval="", lineterminator=dialect.pop("lineterminator", "\n"), **dialect)
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def csv_bytes(*rows: dict[str, str]) -> bytes:
    """Return a file of rows as UTF-8."""
    return csv_text(rows).encode()


REFERENCE = load_reference()


def parsed(data: bytes) -> list[ShipmentRecord]:
    """Return the shipments in a file."""
    return [shipment.record for shipment in parse_ledger(data, REFERENCE, now=NOW).shipments]


def faults(data: bytes) -> list[tuple[int | None, str | None, str]]:
    """Return (row, column, message) of all that is wrong with a file."""
    with pytest.raises(InvalidCells) as refused:
        parse_ledger(data, REFERENCE, now=NOW)
    return [(error.row, error.column, error.message) for error in refused.value.errors]


GENERA = ("Aglaonema", "Hoya", "Begonia", "Calathea", "Alocasia", "Inventia")
SELLERS = ("Invented Ferns", "Nowhere Nursery", "Jardín Ficticio", "")


def random_ledger(n_rows: int, seed: int, rows_per_shipment: int = 3) -> bytes:
    """Return a file of `n_rows` rows, all columns used, three rows a shipment."""
    rng = np.random.default_rng(seed)
    rows = []
    for i in range(0, n_rows, rows_per_shipment):
        ship_date = date(2020, 1, 1) + timedelta(days=int(rng.integers(2500)))
        arrival_date = ship_date + timedelta(days=int(rng.integers(1, 20)))
        shipment = {
            "shipment": f"box-{i // rows_per_shipment:06d}",
            "seller": SELLERS[rng.integers(len(SELLERS))],
            "service": ("courier", "post", "air_cargo")[rng.integers(3)],
            "origin": ("SRG", "CGK", "SJO")[rng.integers(3)],
            "destination": ("GLA", "JFK", "SYD")[rng.integers(3)],
            "container": ("foam_box", "lined_carton", "carton")[rng.integers(3)],
            "roots": ("damp_wrap", "damp_paper", "dry", "plug")[rng.integers(4)],
            "heat_pack_hours": ("0", "72")[rng.integers(2)],
            "ship_date": ship_date.isoformat(),
            "arrival_date": arrival_date.isoformat(),
            "inside_temp_c": ("", f"{rng.normal(20, 4):.2f}")[rng.integers(2)],
            "cold_packs": str(rng.integers(3)),
            "seller_kind": ("", "grower")[rng.integers(2)],
            "currency": "GBP",
        }
        recheck_date = (arrival_date + timedelta(days=14)).isoformat()
        for line in range(min(rows_per_shipment, n_rows - i)):
            sent = int(rng.integers(1, 40))
            healthy, damaged, dead = rng.multinomial(sent, (0.8, 0.1, 0.1))
            cells = shipment | {
                "genus": GENERA[rng.integers(len(GENERA))],
                "cultivar": f"No. {line + 1}",
                "sent": str(sent),
                "healthy": str(healthy),
                "damaged": str(damaged),
                "dead": str(dead),
                "unit_cost": f"{rng.uniform(2, 30):.2f}",
                "sale_value": f"{rng.uniform(10, 90):.2f}",
            }
            kind = rng.integers(4)
            if kind == 0:
                cells |= {"damaged": "", "dead": ""}
            elif kind == 1:
                gone = int(rng.integers(healthy + 1))
                cells |= {"recheck_date": recheck_date, "recheck_healthy": str(healthy - gone)}
                cells |= {"recheck_damaged": str(damaged), "recheck_dead": "0", "recheck_gone": str(gone)}
            rows.append(cells)
    return csv_text(rows, COLUMNS).encode()


if __name__ == "__main__":
    sys.stdout.buffer.write(random_ledger(int(sys.argv[1]), int(sys.argv[2])))
