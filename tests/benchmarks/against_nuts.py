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

from model.exposure.table import Array
from model.fit.hierarchy import Hierarchy
from model.fit.inference import Inference
from model.fit.inner_mode import InnerMode
from model.fit.observations import Observations
from model.fit.target import Target
from model.reference.tables import load_reference
from model.synthetic import Design
from tests.references.nuts import Settings, build, kept_names, sample, summary
from tests.references.quantities import parameters
from tests.references.scenario import scenario

SETTINGS = Settings(tune=2000, draws=12_000, target_accept=0.95)


class Measured(NamedTuple):
    """CPU seconds, effective draws (of NUTS, of the worst quantity), and means by quantity."""

    seconds: float
    effective: float
    means: Mapping[str, Array]


def by_nuts(design: Design, observations: Observations, draws: int) -> tuple[Measured, Mapping[str, Array], float]:
    """Return what NUTS takes and finds, the posterior sds, and CPU seconds of compilation."""
    kept = kept_names(observations)
    start = time.process_time()
    compiled = nutpie.compile_pymc_model(build(design, observations, load_reference()), var_names=kept)
    compilation = time.process_time() - start
    start = time.process_time()
    trace = sample(compiled, SETTINGS._replace(draws=draws))
    seconds = time.process_time() - start
    found = {name: summary(np.asarray(trace.posterior[name], dtype=float)) for name in kept}
    least = min(float(np.min([s["ess_bulk"], s["ess_tail"]])) for s in found.values())
    means, sds = ({name: np.asarray(s[of]) for name, s in found.items()} for of in ("mean", "sd"))
    return Measured(seconds, least, means), sds, compilation


def by_fit(observations: Observations) -> Measured:
    """Return what the fit takes and finds."""
    hierarchy = Hierarchy(observations, load_reference())
    start = time.process_time()
    with threadpool_limits(1):
        posterior = Inference(InnerMode(Target(observations, hierarchy, rates=None))).run(rng=np.random.default_rng(0))
    seconds = time.process_time() - start
    weights = np.exp(posterior.log_weights)
    drawn = parameters(posterior) | {f"effect_{kind}": posterior.x[:, own] for kind, own in hierarchy.slices.items()}
    return Measured(seconds, posterior.effective, {name: np.asarray(weights @ draws) for name, draws in drawn.items()})


def main() -> None:
    """Print both, their ratio, and how far their means lie apart."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--boxes", type=int, default=300)
    parser.add_argument("--draws", type=int, default=SETTINGS.draws, help="of each chain of NUTS")
    asked = parser.parse_args()
    design, observations = scenario(asked.boxes)
    fit = by_fit(observations)
    nuts, sds, compilation = by_nuts(design, observations, asked.draws)
    apart = [np.abs(fit.means[name] - mean) / sds[name] for name, mean in nuts.means.items()]
    print(f"{asked.boxes} boxes, CPU seconds (compilation of NUTS, {compilation:.0f} s, apart)")
    print(f"fit:  {fit.seconds:.1f} s, {fit.effective:.0f} effective draws")
    print(f"NUTS: {nuts.seconds:.0f} s, at least {nuts.effective:.0f} effective draws of every quantity")
    print(f"NUTS / fit: {nuts.seconds / fit.seconds:.0f} times the time")
    by_draw = nuts.seconds / nuts.effective * fit.effective / fit.seconds
    print(f"for each effective draw: {by_draw:.1f} times the time")
    print(f"means apart: at most {max(float(np.max(gap)) for gap in apart):.2f} posterior sd")


if __name__ == "__main__":
    main()
