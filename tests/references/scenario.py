"""The invented importers and questions that the fit and the recorded reference share, rebuilt from seeds."""

import hashlib
from dataclasses import astuple, dataclass, replace

import numpy as np
from scipy import stats

from model.exposure.table import Array
from model.fit.observations import Observations
from model.plant.effects import LEARNED_SCALES
from model.plant.plant import KINDS, Plant
from model.plant.time_ratio import log_time_ratio
from model.prior.priors import PriorTable, solve_prior
from model.reference.tables import REFERENCE_CONTAINER, REFERENCE_ROOTS, load_reference
from model.synthetic import Design, Truth, draw_counts, draw_design, draw_truth, effect_sds

SIZES = (20, 60, 300)
# One seed a step, so that importers of every size have the same genera, sellers and truth.
SEEDS = {"design": 20, "truth": 21, "counts": 22, "queries": 23}
N_QUERIES = 200
# Every tenth question is about a seller without data; of the others this share leaves the seller or the quarter open.
NEW_SELLER_EVERY, OPEN_SHARE = 10, 0.25
NEW_SELLER = "new seller"
# So far from any quarter with boxes that the seller is back at its level: drift is a draw from its population.
SILENT_QUARTER = 10_000
DAYS, INSIDE_C = (2.0, 15.0), (4.0, 32.0)
# Log Q10 and log chill rate at which the fingerprint looks at exposures.
EXPOSURE_AT = (0.5, -1.0)
# Gauss-Hermite nodes that the rules of thumb were averaged with when the reference was run.
NODES_OF_THE_PRIOR = 21
# What was drawn from that prior, so that the counts are those of the reference.
TRUTH = {"alpha": -5.47586572366842, "kappa": 7.4238633056731125, "delta": 2.2068364962432345, "lost": 0.0}


@dataclass(frozen=True, slots=True)
class Query:
    """A plant in a box not yet seen, whose air stays at `inside_c`; the cultivar's level bears the genus's name.

    Attributes
    ----------
    seller : str or None
        None: not named; `NEW_SELLER`: without data. Both are draws from the population of sellers.
    quarter : int or None
        Quarter of a drift state with data, or `SILENT_QUARTER`; None where the seller has no data.
    days, inside_c : float
    threshold_c, sensitivity : float
        The genus's tabulated chilling threshold and sensitivity, taken as known.
    log_time_ratio : float
        log TR0 of genus, packing and seller's kind.
    """

    genus: str
    container: str
    roots: str
    service: str
    seller_kind: str
    seller: str | None
    quarter: int | None
    days: float
    inside_c: float
    threshold_c: float
    sensitivity: float
    log_time_ratio: float


def scenario(n_boxes: int) -> tuple[Design, Observations]:
    """Return what an invented importer sent and what became of it, from a truth drawn from the prior.

    No box is lost whole, and deviations from the tables are normal: the reference samples the clock alone.
    """
    reference = load_reference()
    design = draw_design(reference, n_boxes, rng=np.random.default_rng(SEEDS["design"]))
    truth = draw_truth(reference, design.observations, rng=np.random.default_rng(SEEDS["truth"]))
    truth = replace(truth, parameters={**truth.parameters, **TRUTH}, effects=_of_normals(truth, design.observations))
    return design, draw_counts(design.observations, truth, rng=np.random.default_rng(SEEDS["counts"]))


def _of_normals(truth: Truth, observations: Observations) -> dict[str, Array]:
    """Return a truth's effects with deviations from the tables as normals have them, each at its place among all."""
    effects, scale = dict(truth.effects), stats.norm.ppf(0.9) / stats.t.ppf(0.9, 4)
    for kind in ("genus", "container", "roots"):
        sds = effect_sds(kind, observations.levels[kind], truth.scales, load_reference())
        effects[kind] = sds * stats.norm.ppf(stats.t.cdf(truth.effects[kind] / (scale * sds), 4))
    return effects


def queries(observations: Observations) -> list[Query]:
    """Return the questions asked of a fit: combinations of levels with data, and sellers without."""
    rng = np.random.default_rng(SEEDS["queries"])
    return [_draw_query(observations, i % NEW_SELLER_EVERY == 0, rng=rng) for i in range(N_QUERIES)]


def _draw_query(observations: Observations, new_seller: bool, *, rng: np.random.Generator) -> Query:
    reference, levels = load_reference(), observations.levels
    names = {kind: [str(name) for name in levels[kind]] for kind in KINDS if kind != "drift"}
    genus = reference.genera[_one(names["genus"], rng=rng)]
    seller: str | None
    quarter: int | None = None
    if new_seller:
        seller, seller_kind = NEW_SELLER, _one(names["seller_kind"], rng=rng)
    elif rng.random() < OPEN_SHARE:
        seller, seller_kind = None, _one(names["seller_kind"], rng=rng)
    else:
        seller = _one(names["seller"], rng=rng)
        row = int(np.flatnonzero(observations.codes["seller"] == names["seller"].index(seller))[0])
        seller_kind = names["seller_kind"][observations.codes["seller_kind"][row]]
        quarters = [int(state[1]) for state in levels["drift"] if isinstance(state, tuple) and state[0] == seller]
        quarter = SILENT_QUARTER if rng.random() < OPEN_SHARE else quarters[int(rng.integers(len(quarters)))]
    plant = Plant(
        genus=genus,
        container=_one([REFERENCE_CONTAINER, *names["container"]], rng=rng),
        roots=_one([REFERENCE_ROOTS, *names["roots"]], rng=rng),
        service=_one(names["service"], rng=rng),
        seller_kind=seller_kind,
        seller=seller,
    )
    return Query(
        genus=genus.genus,
        container=plant.container,
        roots=plant.roots,
        service=str(plant.service),
        seller_kind=seller_kind,
        seller=seller,
        quarter=quarter,
        days=float(rng.uniform(*DAYS)),
        inside_c=float(rng.uniform(*INSIDE_C)),
        threshold_c=genus.chill_threshold_c,
        sensitivity=reference.chill_classes[genus.chill_class].sensitivity,
        log_time_ratio=log_time_ratio(plant, reference),
    )


def _one(names: list[str], *, rng: np.random.Generator) -> str:
    return names[int(rng.integers(len(names)))]


def prior_of_the_reference() -> PriorTable:
    """Return the prior that the reference was run with, its rules averaged by fewer nodes than those of today."""
    reference = load_reference()
    rows = reference.prior_scales
    log_q10 = float(np.log1p(rows["q10_less_one"].median))
    return solve_prior(reference.rules, log_q10=log_q10, h0=rows["h0"].median, n_nodes=NODES_OF_THE_PRIOR)


def fingerprint(design: Design, observations: Observations) -> str:
    """Return a digest of data, prior and questions: a recorded result holds for what has the same digest."""
    reference = load_reference()
    rows = reference.prior_scales
    table = prior_of_the_reference()
    middle = observations.exposure.at(*EXPOSURE_AT)[0]
    counts = (observations.healthy, observations.damaged, observations.dead)
    parts: list[object] = [array.astype(int).tolist() for array in (observations.box, *counts)]
    for array in (design.days, design.inside_c, observations.log_time_ratio, middle):
        parts.append(np.round(array, 6).tolist())
    unit = dict.fromkeys(LEARNED_SCALES, 1.0)
    for kind in KINDS:
        levels = observations.levels[kind]
        sds = np.round(effect_sds(kind, levels, unit, reference), 6)
        parts.append((kind, levels, sds.tolist(), observations.codes[kind].tolist()))
    parts.extend((name, row.median, row.sd_log) for name, row in sorted(rows.items()) if name != "lost_whole")
    parts.append([np.round(array, 4).tolist() for array in (table.mean, table.covariance)])
    parts.append([np.round(array, 4).tolist() for array in (table.delta_mean, table.delta_shape)])
    for query in queries(observations):
        values = astuple(query)
        parts.append([round(value, 6) if isinstance(value, float) else value for value in values])
    return hashlib.sha256(repr(parts).encode()).hexdigest()[:16]
