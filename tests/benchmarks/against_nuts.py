"""Measure the fit against NUTS on the same boxes: ``python -m tests.benchmarks.against_nuts``.

CPU seconds of one process, compilation apart. NUTS runs as for the recorded reference (`tests.references.nuts`, which
says what to install beside the project): long enough for an effective size of 4,000 of every parameter. Since the fit
keeps fewer effective draws, the time for each of them is given too.
"""

import argparse
import time
from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
import nutpie
from threadpoolctl import threadpool_limits

from model.hierarchy import OUTER, SCALE_OF_KIND, Hierarchy
from model.inference import Inference
from model.observations import KINDS, Array, Observations
from model.priors import LEARNED_SCALES
from model.reference import load_reference
from model.synthetic import Design
from tests.references.nuts import CHAINS, COMMON, CORES, SEED, build, summary
from tests.references.scenario import scenario

TUNE, DRAWS, TARGET_ACCEPT = 2000, 12_000, 0.95


class Measured(NamedTuple):
    """CPU seconds, effective draws of the worst quantity, and means and sds by quantity."""

    seconds: float
    effective: float
    moments: Mapping[str, tuple[Array, Array]]


def by_nuts(design: Design, observations: Observations, draws: int) -> tuple[Measured, float]:
    """Return what NUTS takes and finds, and CPU seconds of compilation."""
    kinds = [kind for kind in KINDS if observations.levels[kind]]
    kept = [*COMMON, *(f"log_{name}" for name in LEARNED_SCALES), *(f"effect_{kind}" for kind in kinds)]
    start = time.process_time()
    compiled = nutpie.compile_pymc_model(build(design, observations, load_reference()), var_names=kept)
    compilation = time.process_time() - start
    start = time.process_time()
    trace = nutpie.sample(
        compiled,
        tune=TUNE,
        draws=draws,
        target_accept=TARGET_ACCEPT,
        chains=CHAINS,
        cores=CORES,
        seed=SEED,
        save_warmup=False,
        progress_bar=False,
    )
    seconds = time.process_time() - start
    found = {name: summary(np.asarray(trace.posterior[name], dtype=float)) for name in kept}
    least = min(float(np.min([s["ess_bulk"], s["ess_tail"]])) for s in found.values())
    moments = {name: (np.asarray(s["mean"]), np.asarray(s["sd"])) for name, s in found.items()}
    return Measured(seconds, least, moments), compilation


def by_fit(observations: Observations) -> Measured:
    """Return what the fit takes and finds."""
    hierarchy = Hierarchy(observations, load_reference())
    start = time.process_time()
    with threadpool_limits(1):
        posterior = Inference(observations, hierarchy).run(rng=np.random.default_rng(0))
    seconds = time.process_time() - start
    weights = np.exp(posterior.log_weights)
    drawn = dict(zip(("alpha", "kappa", "delta"), posterior.x[:, :3].T, strict=True))
    drawn |= {f"log_{name}": posterior.theta[:, OUTER.index(name)] for name in (*LEARNED_SCALES, "chill_rate", "h0")}
    drawn["log_q10"] = np.log1p(np.exp(posterior.theta[:, OUTER.index("q10_less_one")]))
    drawn |= {f"effect_{kind}": posterior.x[:, hierarchy.slices[kind]] for kind in SCALE_OF_KIND}
    moments = {}
    for name, values in drawn.items():
        mean = weights @ values
        moments[name] = mean, np.sqrt(weights @ (values - mean) ** 2)
    return Measured(seconds, posterior.effective, moments)


def main() -> None:
    """Print both, their ratio, and how far their means lie apart."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--boxes", type=int, default=300)
    parser.add_argument("--draws", type=int, default=DRAWS, help="of each chain of NUTS")
    asked = parser.parse_args()
    design, observations = scenario(asked.boxes)
    fit = by_fit(observations)
    nuts, compilation = by_nuts(design, observations, asked.draws)
    apart = [np.abs(mean - nuts.moments[name][0]) / nuts.moments[name][1] for name, (mean, _) in fit.moments.items()]
    print(f"{asked.boxes} boxes, CPU seconds (compilation of NUTS, {compilation:.0f} s, apart)")
    print(f"fit:  {fit.seconds:.1f} s, {fit.effective:.0f} effective draws")
    print(f"NUTS: {nuts.seconds:.0f} s, at least {nuts.effective:.0f} effective draws of every quantity")
    print(f"NUTS / fit: {nuts.seconds / fit.seconds:.0f} times the time")
    by_draw = nuts.seconds / nuts.effective * fit.effective / fit.seconds
    print(f"for each effective draw: {by_draw:.1f} times the time")
    print(f"means apart: at most {max(float(np.max(gap)) for gap in apart):.2f} posterior sd")


if __name__ == "__main__":
    main()
