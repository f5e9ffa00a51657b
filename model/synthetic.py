"""Seeded importers from a known truth: what they send is fixed first, then what becomes of it is drawn.

Everything is invented. The truth is drawn from the model's own prior, so that a fit can be checked against it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from model.exposure import Array, Indices, constant_log_days
from model.fit import CONSIGNMENT, LINE_DTYPE, Lines, Observations, observe
from model.plant import DRIFT_CORRELATION, KINDS, Level, deviations, prior_sd, time_predictor
from model.predict import box_chances
from model.prior import ParameterDraws, draw_prior
from model.reference import CONSTANTS, REFERENCE_CONTAINER, REFERENCE_ROOTS, Reference

# Share of boxes in the reference packing.
REFERENCE_SHARE = 0.8


@dataclass(frozen=True, eq=False)
class Design:
    """What an importer sends: the table of lines, the observations without counts, days and inside °C, (lines,)."""

    lines: Lines
    observations: Observations
    days: Array
    inside_c: Array


@dataclass(frozen=True, eq=False)
class Truth:
    """Parameters (scalars) and effects by kind, (levels,) each, that counts are drawn from."""

    parameters: Mapping[str, float]
    scales: Mapping[str, float]
    effects: Mapping[str, Array]


def draw_design(
    reference: Reference,
    n_boxes: int,
    *,
    rng: np.random.Generator,
    n_genera: int = 12,
    n_sellers: int = 4,
    lines_a_box: int = 3,
    plants_a_line: int = 12,
) -> Design:
    """Draw what an importer sends over two years: genera, sellers, packing, days and temperatures, without counts."""
    genera = rng.choice(sorted(reference.genera), min(n_genera, len(reference.genera)), replace=False)
    popularity = rng.dirichlet(np.ones(len(genera)))
    n_lines = n_boxes * lines_a_box
    box = np.repeat(np.arange(n_boxes), lines_a_box)
    genus = rng.choice(len(genera), n_lines, p=popularity)
    seller = rng.integers(n_sellers, size=n_boxes)
    kinds = sorted(reference.seller_kinds)
    services = sorted(reference.services)
    service = rng.integers(len(services), size=n_boxes)
    seller_kind = np.arange(n_sellers) % len(kinds)
    quarter = rng.integers(8, size=n_boxes)
    containers, roots = sorted(reference.containers), sorted(reference.roots)
    container = np.where(
        rng.random(n_boxes) < REFERENCE_SHARE, containers.index(REFERENCE_CONTAINER), containers.index("carton")
    )
    root = np.where(rng.random(n_boxes) < REFERENCE_SHARE, roots.index(REFERENCE_ROOTS), roots.index("damp_paper"))
    median = np.array([reference.services[name].p50_days for name in services])[service]
    days = (median * np.exp(0.4 * rng.standard_normal(n_boxes)))[box]
    inside = rng.normal(19.0, 5.0, n_boxes).clip(4.0, 34.0)[box]
    lines = np.empty(n_lines, dtype=LINE_DTYPE)
    lines["shipment"] = [f"box {b:06d}" for b in box]
    lines["genus"] = [str(genera[g]) for g in genus]
    lines["cultivar"] = None
    lines["container"] = [containers[c] for c in container[box]]
    lines["roots"] = [roots[r] for r in root[box]]
    lines["service"] = [services[s] for s in service[box]]
    lines["seller_kind"] = [kinds[k] for k in seller_kind[seller[box]]]
    lines["seller"] = [f"seller {s}" for s in seller[box]]
    lines["quarter"] = quarter[box]
    rows = [reference.genera[name] for name in lines["genus"]]
    threshold = np.array([row.chill_threshold_c for row in rows])
    sensitivity = np.array([reference.chill_classes[row.chill_class].sensitivity for row in rows])
    lines["log_days"] = constant_log_days(inside, days, threshold, sensitivity)
    lines["log_days_variance"] = 0.0
    counts = np.full((n_lines, 4), np.nan)
    counts[:, 3] = 1.0 + rng.poisson(plants_a_line - 1, n_lines)
    return Design(lines, observe(lines, counts, reference).observations, days, inside)


def effect_sds(
    kind: str, levels: tuple[Level, ...], scales: Mapping[str, float], reference: Reference
) -> NDArray[np.float64]:
    """Return the prior sd of each level of a kind of effect, (levels,)."""
    return np.array([prior_sd(kind, level, scales, reference) for level in levels])


def drift_correlation(levels: tuple[Level, ...]) -> Array:
    """Return the correlation of drift states (seller, quarter), 0.8 to the power of the quarters between."""
    sellers = np.array([str(level[0]) for level in levels])
    quarters = np.array([int(level[1]) for level in levels])
    gap = np.abs(quarters[:, None] - quarters[None, :])
    correlation: Array = np.where(sellers[:, None] == sellers[None, :], DRIFT_CORRELATION**gap, 0.0)
    return correlation


def draw_truth(reference: Reference, observations: Observations, *, rng: np.random.Generator) -> Truth:
    """Draw parameters, scales and effects from the prior."""
    drawn: ParameterDraws = draw_prior(reference, 1, rng=rng)
    scales = {name: float(value[0]) for name, value in drawn.scales.items()}
    names = ("alpha", "kappa", "delta", "log_q10", "chill_rate", "h0", "lost")
    effects = {}
    for kind in KINDS:
        levels = observations.levels[kind]
        normals = rng.standard_normal(len(levels))
        if kind == "drift" and levels:
            normals = np.linalg.cholesky(drift_correlation(levels)) @ normals
        effects[kind] = effect_sds(kind, levels, scales, reference) * deviations(kind, normals)
    return Truth({name: float(getattr(drawn, name)[0]) for name in names}, scales, effects)


def true_predictor(observations: Observations, truth: Truth) -> Array:
    """Return eta without shipment and line effects, (lines,)."""
    parameters = truth.parameters
    mean, _ = observations.exposure.at(parameters["log_q10"], np.log(parameters["chill_rate"]))
    eta = parameters["alpha"] + time_predictor(parameters["kappa"], mean, observations.log_time_ratio)
    for kind in KINDS:
        codes: Indices = observations.codes[kind]
        eta = eta + np.where(codes >= 0, np.append(truth.effects[kind], 0.0)[codes], 0.0)
    return np.asarray(eta)


def draw_counts(observations: Observations, truth: Truth, *, rng: np.random.Generator) -> Observations:
    """Draw shipment and line effects, boxes lost whole, and the counts of every line."""
    shipment = truth.scales["shipment"] * rng.standard_normal(observations.n_boxes)
    line = truth.scales["line"] * rng.standard_normal(len(observations))
    # Of generators of their own, so that the other draws are those of a world without consignments that loses no box.
    of_lost, of_consignments = rng.spawn(2)
    consignment = observations.codes[CONSIGNMENT]
    common = truth.scales["shipment"] * of_consignments.standard_normal(len(observations.levels[CONSIGNMENT]) + 1)
    share = np.where(consignment >= 0, CONSTANTS.consignment_share, 0.0)
    box = np.sqrt(1.0 - share) * shipment[observations.box] + np.sqrt(share) * common[consignment]
    eta = true_predictor(observations, truth) + box + line
    healthy, dead = box_chances(eta, np.array(truth.parameters["delta"]), np.array(truth.parameters["h0"]))
    lost = of_lost.random(observations.n_boxes)[observations.box] < truth.parameters["lost"]
    healthy, dead = np.where(lost, CONSTANTS.lost_healthy, healthy), np.where(lost, CONSTANTS.lost_dead, dead)
    sent = observations.sent.astype(np.int64)
    chances: Array = np.stack([healthy, np.maximum(1.0 - healthy - dead, 0.0), dead], axis=1)
    counts = rng.multinomial(sent, chances / chances.sum(axis=1, keepdims=True)).astype(float)
    return replace(observations, healthy=counts[:, 0], damaged=counts[:, 1], dead=counts[:, 2])


def counts_of(observations: Observations) -> Array:
    """Return healthy, damaged, dead and sent of each line, (lines, 4)."""
    return np.stack([observations.healthy, observations.damaged, observations.dead, observations.sent], axis=1)
