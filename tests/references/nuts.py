"""Sample the full posterior of the survival model with NUTS: ``python -m tests.references.nuts 20 60 300``.

The model is written out afresh in PyMC from its formulas: shipment and line effects are sampled, not integrated, and
equivalent days follow from the formula of the clock, not from a table of it. Only the reference tables, the prior's
solution of the rules of thumb, the effects' tabulated sds and the average over boxes not yet seen are the project's.
PyMC and nutpie are in no lock file: install them beside the project (``pip install pymc nutpie``) to run this again.
"""

import json
import sys
import time
from collections.abc import Mapping
from importlib.metadata import version
from pathlib import Path
from typing import Any, NamedTuple

import arviz as az
import numpy as np
import nutpie
import pymc as pm
import pytensor.tensor as pt

from model.exposure.damage import REFERENCE_C, extreme_rate
from model.exposure.table import Array
from model.fit.observations import Observations
from model.plant import REFERENCE_DAYS
from model.plant.effects import LEARNED_SCALES
from model.plant.hazard import SPOILT_DEATH_OFFSET
from model.plant.plant import KINDS
from model.prior.priors import SPREAD_GRID, solve_prior
from model.quadrature import marginal_survival
from model.reference.tables import REFERENCE_GROUP, Reference, load_reference
from model.synthetic import Design, drift_correlation, effect_sds
from tests.references.scenario import SEEDS, Query, fingerprint, queries, scenario

COMMON = ("alpha", "kappa", "delta", "log_q10", "log_chill_rate", "log_h0")
SCALE_OF = {"genus": "genus_multiplier", "cultivar": "cultivar", "seller": "seller", "drift": "drift"}
NODES = 41
SCALES = tuple(f"log_{name}" for name in LEARNED_SCALES)
CHAINS, CORES, SEED = 4, 2, 24
STATISTICS = ("mean", "sd", "mcse_mean", "mcse_sd", "ess_bulk", "ess_tail", "rhat")
LEAST_ESS, MOST_RHAT = 4000.0, 1.01


class Settings(NamedTuple):
    """How long and how carefully a posterior is sampled."""

    tune: int
    draws: int
    target_accept: float


SETTINGS = {20: Settings(2000, 20_000, 0.95), 60: Settings(2000, 20_000, 0.95), 300: Settings(2000, 25_000, 0.95)}


def _in_spread(spread: Any, values: Array) -> Any:
    """Return a tabulated function of the total spread, linear between the points and constant beyond the ends."""
    width = SPREAD_GRID[1] - SPREAD_GRID[0]
    inside = pt.clip(spread, SPREAD_GRID[0], SPREAD_GRID[-1])
    return pt.dot(pt.maximum(1.0 - pt.abs(inside - SPREAD_GRID) / width, 0.0), values)


def _spread(scales: Mapping[str, Any], reference: Reference) -> Any:
    """Return the sd of the linear predictor over everything that a rule of thumb leaves unnamed."""
    own = [effect_sds("genus", (name,), {"genus_multiplier": 1.0}, reference)[0] for name in _unnamed(reference)]
    variance = scales["genus_multiplier"] ** 2 * float(np.mean(np.square(own)))
    for name in ("cultivar", "seller", "drift", "shipment", "line"):
        variance = variance + scales[name] ** 2
    fixed = [reference.prior_scales[name].median for name in ("service", "seller_kind")]
    return pt.sqrt(variance + float(np.sum(np.square(fixed))))


def _unnamed(reference: Reference) -> list[str]:
    return [name for name, row in reference.genera.items() if row.group == REFERENCE_GROUP]


class Air(NamedTuple):
    """Inside temperature, and the plants' chilling threshold and sensitivity; arrays of one shape."""

    inside_c: Array
    threshold_c: Array
    sensitivity: Array


def _log_rate(air: Air, log_q10: Any, chill_rate: Any, *, functions: Any) -> Any:
    """Return log equivalent days a day at constant temperatures; `functions` is numpy, or pytensor's for tensors."""
    warm = functions.exp(log_q10 * (np.maximum(air.inside_c, air.threshold_c) - REFERENCE_C) / 10.0)
    chill = chill_rate * air.sensitivity * np.maximum(air.threshold_c - air.inside_c, 0.0)
    return functions.log(warm + chill + extreme_rate(air.inside_c))


def build(design: Design, observations: Observations, reference: Reference) -> pm.Model:
    """Return the model of an importer's boxes; every count must be known."""
    rows = reference.prior_scales
    table = solve_prior(reference.rules, log_q10=float(np.log1p(rows["q10_less_one"].median)), h0=rows["h0"].median)
    genera = [reference.genera[str(observations.levels["genus"][code])] for code in observations.codes["genus"]]
    air = Air(
        design.inside_c,
        np.array([row.chill_threshold_c for row in genera]),
        np.array([reference.chill_classes[row.chill_class].sensitivity for row in genera]),
    )
    with pm.Model() as model:
        outer = {}
        for name in (*LEARNED_SCALES, "q10_less_one", "chill_rate", "h0"):
            z = pm.Normal(f"z_log_{name}")
            logarithm = np.log(rows[name].median) + rows[name].sd_log * z
            if name != "q10_less_one":
                pm.Deterministic(f"log_{name}", logarithm)
            outer[name] = pt.exp(logarithm)
        log_q10 = pm.Deterministic("log_q10", pt.log1p(outer["q10_less_one"]))

        spread = _spread(outer, reference)
        kappa_mean = _in_spread(spread, table.mean[:, 1])
        variance = [_in_spread(spread, table.covariance[:, i, j]) for i, j in ((0, 0), (0, 1), (1, 1))]
        kappa = pm.TruncatedNormal("kappa", kappa_mean, pt.sqrt(variance[2]), lower=0.0)
        slope = variance[1] / variance[2]
        alpha_mean = _in_spread(spread, table.mean[:, 0]) + slope * (kappa - kappa_mean)
        alpha_sd = pt.sqrt(variance[0] - slope * variance[1])
        alpha = pm.Deterministic("alpha", alpha_mean + alpha_sd * pm.Normal("z_alpha"))
        shape = _in_spread(spread, table.delta_shape)
        delta = pm.Gamma("delta", alpha=shape, beta=shape / _in_spread(spread, table.delta_mean))

        log_rate = _log_rate(air, log_q10, outer["chill_rate"], functions=pt)
        log_time = np.log(design.days / REFERENCE_DAYS) - observations.log_time_ratio
        eta = alpha + kappa * (log_time + log_rate)
        for kind in KINDS:
            eta = eta + _effects(kind, observations, outer, reference)
        eta = eta + outer["shipment"] * pm.Normal("z_shipment", shape=observations.n_boxes)[observations.box]
        eta = eta + outer["line"] * pm.Normal("z_line", shape=len(observations))
        _add_counts(observations, eta, delta, outer["h0"])
    return model


def _effects(kind: str, observations: Observations, scales: Mapping[str, Any], reference: Reference) -> Any:
    """Return the effect of a kind on each line; the reference level has none."""
    levels, codes = observations.levels[kind], observations.codes[kind]
    if not levels:
        return 0.0
    normals = pm.Normal(f"z_{kind}", shape=len(levels))
    if kind == "drift":
        normals = pt.dot(np.linalg.cholesky(drift_correlation(levels)), normals)
    sds = effect_sds(kind, levels, dict.fromkeys(LEARNED_SCALES, 1.0), reference)
    scale = scales[SCALE_OF[kind]] if kind in SCALE_OF else 1.0
    effects = pm.Deterministic(f"effect_{kind}", scale * sds * normals)
    return pt.concatenate([effects, np.zeros(1)])[np.where(codes >= 0, codes, len(levels))]


def _add_counts(observations: Observations, eta: Any, delta: Any, h0: Any) -> None:
    """Add the multinomial likelihood of the counts, up to its constant."""
    hazard = pt.exp(eta)
    loss = h0 + hazard
    death = h0 * np.exp(-SPOILT_DEATH_OFFSET) + hazard * pt.exp(-delta)
    between = -h0 * np.expm1(-SPOILT_DEATH_OFFSET) - hazard * pt.expm1(-delta)
    log_dead, log_damaged = pt.log(-pt.expm1(-death)), pt.log(-pt.expm1(-between)) - death
    likelihood = observations.dead * log_dead + observations.damaged * log_damaged - observations.healthy * loss
    pm.Potential("counts", pt.sum(likelihood))


def query_chances(asked: list[Query], observations: Observations, draws: Mapping[str, Array]) -> tuple[Array, Array]:
    """Return P(healthy) and P(dead) of each query and draw, (draws, queries) each.

    Averaged over shipment and line effects, and over the populations of sellers and quarters where these have no data.
    """
    healthy, dead = [], []
    h0, delta = np.exp(draws["log_h0"]), draws["delta"]
    for query in asked:
        air = Air(*map(np.array, (query.inside_c, query.threshold_c, query.sensitivity)))
        log_rate = _log_rate(air, draws["log_q10"], np.exp(draws["log_chill_rate"]), functions=np)
        log_time = np.log(query.days / REFERENCE_DAYS) - query.log_time_ratio
        eta = draws["alpha"] + draws["kappa"] * (log_time + log_rate)
        variance = np.exp(2.0 * draws["log_shipment"]) + np.exp(2.0 * draws["log_line"])
        for kind, level in _levels(query, load_reference()):
            if level in observations.levels[kind]:
                eta = eta + draws[f"effect_{kind}"][:, observations.levels[kind].index(level)]
            else:
                variance = variance + np.exp(2.0 * draws[f"log_{kind}"])  # only sellers and quarters lack data
        sd = np.sqrt(variance)
        healthy.append(np.exp(-h0) * marginal_survival(eta, sd, n_nodes=NODES))
        not_spoilt = np.exp(-h0 * np.exp(-SPOILT_DEATH_OFFSET))
        dead.append(1.0 - not_spoilt * marginal_survival(eta - delta, sd, n_nodes=NODES))
    return np.stack(healthy, axis=-1), np.stack(dead, axis=-1)


def _levels(query: Query, reference: Reference) -> list[tuple[str, object]]:
    """Return the level of each kind of effect that a query has, or None where it is not named."""
    group = reference.genera[query.genus].group
    levels: list[tuple[str, object]] = [("genus", query.genus), ("cultivar", query.genus), ("service", query.service)]
    levels += [("seller_kind", query.seller_kind), ("seller", query.seller), ("drift", (query.seller, query.quarter))]
    if group != REFERENCE_GROUP:
        levels.append(("group", group))
    if reference.containers[query.container].time_ratio_sd_log:
        levels.append(("container", query.container))
    if reference.roots[query.roots].time_ratio_sd_log:
        levels.append(("roots", query.roots))
    return levels


def summary(draws: Array) -> dict[str, Any]:
    """Return statistics of (chains, draws) or (chains, draws, k): numbers or lists of k.

    The error of the sd is that of the mean squared deviation, by the delta method.
    """
    mean, sd = draws.mean(axis=(0, 1)), draws.std(axis=(0, 1), ddof=1)
    data, squared = (az.convert_to_dataset({"x": x}) for x in (draws, (draws - mean) ** 2))
    found = {
        "mean": mean,
        "sd": sd,
        # Of a chance that is the same in every draw both are 0 / 0: it has no error.
        "mcse_mean": np.nan_to_num(az.mcse(data, method="mean")["x"].values),
        "mcse_sd": np.nan_to_num(az.mcse(squared, method="mean")["x"].values / (2.0 * sd)),
        "ess_bulk": az.ess(data, method="bulk")["x"].values,
        "ess_tail": az.ess(data, method="tail")["x"].values,
        "rhat": az.rhat(data)["x"].values,
    }
    digits = {"ess_bulk": 0, "ess_tail": 0, "rhat": 5}
    return {name: np.round(found[name], digits.get(name, 6)).tolist() for name in STATISTICS}


def kept_names(observations: Observations) -> list[str]:
    """Return the names of what is kept of the draws: parameters, scales, and the effects of each kind with levels."""
    return [*COMMON, *SCALES, *(f"effect_{kind}" for kind in KINDS if observations.levels[kind])]


def sample(compiled: Any, settings: Settings) -> Any:
    """Return the draws of a compiled model."""
    return nutpie.sample(
        compiled, **settings._asdict(), chains=CHAINS, cores=CORES, seed=SEED, save_warmup=False, progress_bar=False
    )


def run(n_boxes: int) -> dict[str, Any]:
    """Sample the posterior of the importer with so many boxes and return what is recorded of it."""
    design, observations = scenario(n_boxes)
    settings = SETTINGS[n_boxes]
    model = build(design, observations, load_reference())
    kinds = [kind for kind in KINDS if observations.levels[kind]]
    kept = kept_names(observations)
    started = time.perf_counter()
    compiled = nutpie.compile_pymc_model(model, var_names=kept)
    compiled_at = time.perf_counter()
    trace = sample(compiled, settings)
    ended = time.perf_counter()
    draws = {name: np.asarray(trace.posterior[name], dtype=float) for name in kept}
    flat = {name: values.reshape(-1, *values.shape[2:]) for name, values in draws.items()}
    chances = query_chances(queries(observations), observations, flat)
    healthy, dead = (summary(values.reshape(CHAINS, settings.draws, -1)) for values in chances)
    parameters = {name: summary(draws[name]) for name in (*COMMON, *SCALES)}
    effects = {kind: {"levels": list(observations.levels[kind]), **summary(draws[f"effect_{kind}"])} for kind in kinds}
    every = [*parameters.values(), *effects.values(), healthy, dead]
    steps = np.asarray(trace.sample_stats["n_steps"], dtype=float)
    reached = {
        "divergences": int(np.asarray(trace.sample_stats["diverging"]).sum()),
        "least_ess_bulk": min(float(np.min(s["ess_bulk"])) for s in every),
        "least_ess_tail": min(float(np.min(s["ess_tail"])) for s in every),
        "largest_rhat": max(float(np.max(s["rhat"])) for s in every),
    }
    return {
        "n_boxes": n_boxes,
        "fingerprint": fingerprint(design, observations),
        "seeds": {**SEEDS, "sampler": SEED},
        "counts": {name: int(getattr(observations, name).sum()) for name in ("sent", "healthy", "damaged", "dead")},
        "sampler": {
            "name": "nutpie",
            "chains": CHAINS,
            "cores": CORES,
            **settings._asdict(),
            "mean_steps": round(float(steps.mean())),
        },
        "seconds": {"compile": round(compiled_at - started, 1), "sample": round(ended - compiled_at, 1)},
        "versions": {name: version(name) for name in ("pymc", "nutpie", "pytensor", "arviz", "numpy", "scipy")},
        "diagnostics": reached,
        "sound": reached["divergences"] == 0
        and min(reached["least_ess_bulk"], reached["least_ess_tail"]) >= LEAST_ESS
        and reached["largest_rhat"] < MOST_RHAT,
        "parameters": parameters,
        "effects": effects,
        "queries": {"healthy": healthy, "dead": dead},
    }


def main(sizes: list[int]) -> int:
    """Write the result for each size beside this file; return 1 if one is not sound."""
    unsound = 0
    for n_boxes in sizes:
        result = run(n_boxes)
        path = Path(__file__).with_name(f"nuts_{n_boxes:03d}.json")
        path.write_text(json.dumps(result, ensure_ascii=False, separators=(",", ":")) + "\n", encoding="utf-8")
        told = {name: result[name] for name in ("n_boxes", "sampler", "seconds", "diagnostics", "sound")}
        sys.stdout.write(json.dumps(told) + "\n")
        sys.stdout.flush()
        unsound += not result["sound"]
    return 1 if unsound else 0


if __name__ == "__main__":
    sys.exit(main([int(size) for size in sys.argv[1:]] or list(SETTINGS)))
