"""The invented importers and questions that the fit and the recorded reference share, rebuilt from seeds."""

import hashlib
from dataclasses import dataclass

import numpy as np

from model.observations import KINDS, Observations
from model.predict import Plant, log_time_ratio
from model.reference import REFERENCE_CONTAINER, REFERENCE_ROOTS, load_reference
from model.synthetic import Design, draw_counts, draw_design, draw_truth

SIZES = (20, 60, 300)
# One seed a step, so that importers of every size have the same genera, sellers and truth.
SEEDS = {"design": 20, "truth": 21, "counts": 22, "queries": 23}
N_QUERIES = 200
# Every tenth question is about a seller without data; of the others this share leaves the seller or the quarter open.
NEW_SELLER_EVERY, OPEN_SHARE = 10, 0.25
NEW_SELLER = "new seller"
DAYS, INSIDE_C = (2.0, 15.0), (4.0, 32.0)


@dataclass(frozen=True, slots=True)
class Query:
    """A plant in a box not yet seen, whose air stays at `inside_c`; the cultivar's level bears the genus's name.

    Attributes
    ----------
    seller : str or None
        None: not named; `NEW_SELLER`: without data. Both are draws from the population of sellers.
    quarter : int or None
        Quarter of a drift state with data, or None: a quarter without boxes, drawn from the population of quarters.
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
    """Return what an invented importer sent and what became of it, from a truth drawn from the prior."""
    reference = load_reference()
    design = draw_design(reference, n_boxes, rng=np.random.default_rng(SEEDS["design"]))
    truth = draw_truth(reference, design.observations, rng=np.random.default_rng(SEEDS["truth"]))
    return design, draw_counts(design.observations, truth, rng=np.random.default_rng(SEEDS["counts"]))


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
        quarter = None if rng.random() < OPEN_SHARE else quarters[int(rng.integers(len(quarters)))]
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


def fingerprint(observations: Observations) -> str:
    """Return a digest of counts, levels and questions: a recorded result belongs to data with the same digest."""
    parts: list[object] = [observations.box.tolist()]
    for counts in (observations.healthy, observations.damaged, observations.dead):
        parts.append(counts.astype(int).tolist())
    parts.extend((kind, observations.levels[kind], observations.codes[kind].tolist()) for kind in KINDS)
    for query in queries(observations):
        names = (query.genus, query.container, query.roots, query.service, query.seller, query.quarter)
        parts.append((names, round(query.days, 6), round(query.inside_c, 6)))
    return hashlib.sha256(repr(parts).encode()).hexdigest()[:16]
