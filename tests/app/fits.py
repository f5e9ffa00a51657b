"""Models fitted to small invented ledgers, once a test run: its processes share what one of them has fitted."""

import os
from datetime import UTC, date, datetime, timedelta
from functools import cache
from hashlib import sha256
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from app.learning.fit import Recorded, fit_model
from app.learning.job import run_refit
from app.ledger.imports import import_csv
from app.serving.artifacts import FittedModel, from_artefact
from app.serving.engine import Engine
from app.serving.refits import request_refit
from app.store.arrived import read_arrived, read_logger, read_on_the_way, read_plans
from app.store.database import Database
from app.store.refits import Refit
from model.reference.tables import load_reference
from tests.app.ledger_files import csv_bytes, random_ledger, row
from tests.moments import NOW
from tests.shared import shared_folder

FEW_DRAWS = 1024
FITTED_AT = datetime(2027, 2, 1, 9, 30, tzinfo=UTC)
N_ROWS, SEED = 45, 3
LEDGER = random_ledger(N_ROWS, SEED)
"""15 boxes of three lines."""


def likely_ledger(n_boxes: int, seed: int, prefix: str = "L") -> bytes:
    """Return a file of boxes of one line whose losses climb with days about as the rules of thumb say."""
    rng = np.random.default_rng(seed)
    rows = []
    # The last has arrived by now.
    first = min(date(2026, 3, 1), NOW.date() - timedelta(days=3 * n_boxes + 20))
    for i in range(n_boxes):
        days = int(rng.integers(2, 13))
        hazard = likely_hazard(days, rng=rng)
        cells = arrived_cells(first + timedelta(days=3 * i), days, hazard, rng=rng)
        genus = ("Aglaonema", "Hoya")[i % 2]
        rows.append(row(shipment=f"{prefix}-{i}", genus=genus, inside_temp_c="20", **cells))
    return csv_bytes(*rows)


def likely_hazard(days: int, *, rng: np.random.Generator) -> float:
    """Return minus the log chance of a plant in a box to arrive healthy, about as the rules of thumb say."""
    usual: float = 0.14 * (days / 7.0) ** 3.3
    return usual * float(np.exp(0.5 * rng.standard_normal()))


def arrived_cells(ship_date: date, days: int, hazard: float, *, rng: np.random.Generator) -> dict[str, str]:
    """Return dates and counts of a line of 20 plants."""
    healthy = int(rng.binomial(20, np.exp(-hazard)))
    dead = int(rng.binomial(20 - healthy, 0.4))
    return {
        "ship_date": ship_date.isoformat(),
        "arrival_date": (ship_date + timedelta(days=days)).isoformat(),
        "sent": "20",
        "healthy": str(healthy),
        "damaged": str(20 - healthy - dead),
        "dead": str(dead),
    }


def fill(database: Database, data: bytes = LEDGER, *, replace: bool = False) -> None:
    """Import a file."""
    import_csv(data, database, load_reference(), replace=replace, now=NOW)


def refit(database: Database) -> Refit:
    """Refit to a ledger here and now, with few draws, as the process of a server or a command does."""
    queued, _ = request_refit(database)
    return run_refit(database, queued.id, n_weighed=FEW_DRAWS, fixed=NOW)


def recorded(database: Database) -> Recorded:
    """Return what a fit reads of a ledger."""
    with database.reading() as connection:
        boxes, away = read_arrived(connection), read_on_the_way(connection)
        logger, plans = read_logger(connection), read_plans(connection)
    return Recorded.of(boxes, away, logger, plans, load_reference(), now=FITTED_AT)


def fit_anew(data: bytes = LEDGER) -> tuple[FittedModel, bytes]:
    """Return the model fitted to a file here and now, and its arrays."""
    with TemporaryDirectory() as folder, Database(f"sqlite:///{Path(folder) / 'ledger.db'}") as database:
        fill(database, data)
        return fit_model(recorded(database), load_reference(), fitted_at=FITTED_AT, n_weighed=FEW_DRAWS)


@cache
def fitted(data: bytes = LEDGER) -> tuple[FittedModel, bytes]:
    """Return the model fitted to a file, and its arrays, as they are read back from the first fit of this run."""
    name = sha256(data).hexdigest()
    manifest, arrays = (shared_folder() / f"{name}.{kind}" for kind in ("json", "npz"))
    if not manifest.exists():
        model, content = fit_anew(data)
        # The manifest comes last and whole: what it names is there.
        for file, written in ((arrays, content), (manifest, model.manifest.model_dump_json().encode())):
            part = file.with_suffix(f".{os.getpid()}")
            part.write_bytes(written)
            part.replace(file)
    content = arrays.read_bytes()
    return from_artefact(manifest.read_text(encoding="utf-8"), content, load_reference()), content


@cache
def fitted_engine(data: bytes = LEDGER) -> Engine:
    """Return the engine of the model fitted to a file."""
    return Engine.of("fit-test", fitted(data)[0])
