"""Measure the fit: ``python -m tests.benchmarks.fit`` prints seconds and effective draws by boxes, and keeps a plot.

Three lines a box, 60 genera, 20 sellers, one thread. Time a box is given against that of the first size, in one run. A
whole refit, from the ledger to the artefact, is measured on a ledger of 1,000 boxes.
"""

import argparse
import resource
import time
from datetime import date, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

import matplotlib as mpl
import numpy as np
from threadpoolctl import threadpool_limits

from app.learning.fit import fit_model
from app.store.database import Database
from model.fit.hierarchy import Hierarchy
from model.fit.inference import Inference
from model.fit.inner_mode import InnerMode
from model.fit.target import Target
from model.reference.tables import load_reference
from model.synthetic import draw_counts, draw_design, draw_truth
from tests.app.fits import FITTED_AT, arrived_cells, fill, likely_hazard, recorded
from tests.app.ledger_files import csv_bytes, row

PLOT = Path(__file__).with_name("fit.svg")
SIZES = (300, 1000, 3000, 10_000)
REFITTED_BOXES, FIRST_DAY = 1000, date(2024, 1, 1)


def measure(n_boxes: int) -> tuple[float, float, int]:
    """Return CPU seconds of a fit, its effective draws and draws in all."""
    reference = load_reference()
    design = draw_design(reference, n_boxes, rng=np.random.default_rng(20), n_genera=60, n_sellers=20)
    truth = draw_truth(reference, design.observations, rng=np.random.default_rng(21))
    observed = draw_counts(design.observations, truth, rng=np.random.default_rng(22))
    hierarchy = Hierarchy(observed, reference)
    start = time.process_time()
    with threadpool_limits(1):
        posterior = Inference(InnerMode(Target(observed, hierarchy))).run(rng=np.random.default_rng(0))
    return time.process_time() - start, posterior.effective, len(posterior.x)


def invented_ledger(n_boxes: int, *, rng: np.random.Generator) -> bytes:
    """Return a file of boxes of three lines whose losses climb with days."""
    genera = rng.choice(sorted(load_reference().genera), 60, replace=False)
    rows = []
    for i in range(n_boxes):
        days = int(rng.integers(2, 13))
        ship_date = FIRST_DAY + timedelta(days=int(rng.integers(730)))
        box = likely_hazard(days, rng=rng)
        for genus in rng.choice(genera, 3, replace=False):
            hazard = box * float(np.exp(0.5 * rng.standard_normal()))
            cells = arrived_cells(ship_date, days, hazard, rng=rng)
            rows.append(row(shipment=f"box-{i}", seller=f"seller {i % 20}", genus=str(genus), **cells))
    return csv_bytes(*rows)


def measure_refit(n_boxes: int) -> tuple[float, float]:
    """Return CPU seconds of reading the ledger, and of the refit after it."""
    with TemporaryDirectory() as folder, Database(f"sqlite:///{Path(folder) / 'ledger.db'}") as database:
        fill(database, invented_ledger(n_boxes, rng=np.random.default_rng(1)))
        start = time.process_time()
        read = recorded(database)
        between = time.process_time()
        fit_model(read, load_reference(), fitted_at=FITTED_AT)
        return between - start, time.process_time() - between


def main() -> None:
    """Print the table and write the plot."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", type=int, nargs="+", default=SIZES)
    sizes = parser.parse_args().sizes
    rows = [(n, *measure(n)) for n in sizes]
    print("| boxes | CPU seconds | a box, against the first | effective of draws |\n|---|---|---|---|")
    first = rows[0][1] / rows[0][0]
    for n, seconds, effective, draws in rows:
        print(f"| {n:,} | {seconds:.1f} | {seconds / n / first:.2f} | {effective:.0f} of {draws:,} |")
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.1f} GB")
    reading, refit = measure_refit(REFITTED_BOXES)
    print(f"refit of {REFITTED_BOXES:,} boxes: {reading:.1f} s reading, {refit:.1f} s fitting, CPU")
    mpl.use("svg")
    from matplotlib import pyplot as plt  # after the choice of backend

    figure, axes = plt.subplots(figsize=(5, 3), layout="constrained")
    axes.loglog(sizes, [row[1] for row in rows], "o-", color="#234")
    axes.set(xlabel="boxes (three lines each)", ylabel="CPU seconds of a fit")
    axes.grid(visible=True, which="major", alpha=0.3)
    figure.savefig(PLOT, metadata={"Date": None})


if __name__ == "__main__":
    main()
