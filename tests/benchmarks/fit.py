"""Measure the fit: ``python -m tests.benchmarks.fit`` prints seconds and effective draws by boxes, and keeps a plot.

Three lines a box, 60 genera, 20 sellers, one thread. Time a box is given against that of the first size, in one run.
"""

import argparse
import resource
import time
from pathlib import Path

import matplotlib as mpl
import numpy as np
from threadpoolctl import threadpool_limits

from model.hierarchy import Hierarchy
from model.inference import Inference
from model.reference import load_reference
from model.synthetic import draw_counts, draw_design, draw_truth

PLOT = Path(__file__).with_name("fit.svg")
SIZES = (300, 1000, 3000, 10_000)


def measure(n_boxes: int) -> tuple[float, float, int]:
    """Return CPU seconds of a fit, its effective draws and draws in all."""
    reference = load_reference()
    design = draw_design(reference, n_boxes, rng=np.random.default_rng(20), n_genera=60, n_sellers=20)
    truth = draw_truth(reference, design.observations, rng=np.random.default_rng(21))
    observed = draw_counts(design.observations, truth, rng=np.random.default_rng(22))
    hierarchy = Hierarchy(observed, reference)
    start = time.process_time()
    with threadpool_limits(1):
        posterior = Inference(observed, hierarchy).run(rng=np.random.default_rng(0))
    return time.process_time() - start, posterior.effective, len(posterior.x)


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
    mpl.use("svg")
    from matplotlib import pyplot as plt  # after the choice of backend

    figure, axes = plt.subplots(figsize=(5, 3), layout="constrained")
    axes.loglog(sizes, [row[1] for row in rows], "o-", color="#234")
    axes.set(xlabel="boxes (three lines each)", ylabel="CPU seconds of a fit")
    axes.grid(visible=True, which="major", alpha=0.3)
    figure.savefig(PLOT, metadata={"Date": None})


if __name__ == "__main__":
    main()
