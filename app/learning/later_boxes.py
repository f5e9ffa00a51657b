"""Boxes that came after the version which serves -> weights of its draws. Only a process of its own imports this.

The exposures are worked out once for each change of the boxes, as a refit would; what is found is stored with the
ledger, so that every server on it answers alike.
"""

import logging
import traceback
from typing import NamedTuple

import numpy as np

from app.clock import moment
from app.recorded import recorded_lines
from app.serving import (
    STORED_DRAWS,
    ArtefactError,
    LearnedTimes,
    QuickUpdate,
    Refused,
    read_fit,
    rules_draws,
    rules_pool,
    rules_version,
)
from app.store import (
    ArrivedBoxes,
    Database,
    LoggerColumns,
    active_version,
    claim_quick_update,
    finish_quick_update,
    later_boxes,
    read_arrived,
    read_logger,
    read_plans,
)
from model.fit import Reweighted, count_boxes, observe, reweight
from model.plant import KINDS
from model.predict import PosteriorDraws
from model.reference import Reference, load_reference

LOG = logging.getLogger("app.refit")

# About five seconds of one core; more is for a refit.
MOST_LINES = 400
# The rules of thumb are wide, so one box may leave few of their draws; they can be drawn again: so often at most, and
# so many times the usual number for all lines together.
MOST_OF_RULES, WEIGHED = 16, 400


class _Later(NamedTuple):
    """The version that serves, what it has seen of the ledger, and the boxes since, all at one moment."""

    version: str
    draws: PosteriorDraws
    times: LearnedTimes
    seen: int
    boxes: int
    revision: int
    arrived: ArrivedBoxes
    logger: LoggerColumns
    plans: dict[int, tuple[str, str]]


def weigh_later_boxes(database: Database, *, claimed: bool = False) -> QuickUpdate | None:
    """Weigh the draws of the version that serves by the boxes since, store what is found and return it.

    None where there are no such boxes, or another process works on them; `claimed` says that this one was started for
    them.

    Raises
    ------
    StoreUnavailable
        If the database cannot be used.
    """
    later = _read(database, load_reference())
    if not later.boxes:
        return None
    if not claimed:
        with database.writing() as connection:
            if not claim_quick_update(connection, later.version, later.revision, now=moment()):
                return None
    try:
        found = _weigh(later)
    except Exception:
        LOG.error("%s", traceback.format_exc())
        found = QuickUpdate(revision=later.revision, boxes=later.boxes, refused="failed")
    found_json, draws = found.to_store()
    with database.writing() as connection:
        finish_quick_update(connection, later.version, later.revision, found_json=found_json, draws=draws)
    return found


def _read(database: Database, reference: Reference) -> _Later:
    with database.reading() as connection:
        version = active_version(connection)
        name, draws, seen = rules_version(reference), rules_draws(reference), 0
        times = LearnedTimes()
        try:
            found = None if version is None else read_fit(connection, version, reference)
        except ArtefactError as error:
            LOG.warning("%s cannot be weighed: %s", version, error)
        else:
            if found is not None:
                draws, times = found.fit.draws, found.fit.times
                name, seen = found.stored.version, found.stored.ledger_revision
        boxes, revision = later_boxes(connection, seen)
        return _Later(
            name,
            draws,
            times,
            seen,
            boxes,
            revision,
            read_arrived(connection, after=seen),
            read_logger(connection, after=seen),
            read_plans(connection, after=seen),
        )


def _weigh(later: _Later) -> QuickUpdate:
    shipments, lines = later.arrived

    def refused(why: Refused, weighed: Reweighted | None = None) -> QuickUpdate:
        return QuickUpdate(
            revision=later.revision,
            boxes=later.boxes,
            plants=int(lines.sent.sum()),
            refused=why,
            effective_draws=weighed.effective if weighed else None,
            pareto_k=_finite(weighed.pareto_k) if weighed else None,
        )

    if (shipments.arrived_revision <= later.seen).any():
        return refused("corrected")
    if len(lines.shipment) > MOST_LINES:
        return refused("too_many")
    reference = later.draws.reference
    table = recorded_lines(later.arrived, later.logger, reference, later.plans, later.times)
    if not len(table.lines):
        return QuickUpdate(revision=later.revision, boxes=later.boxes)  # nothing came in them, so they say nothing
    observed = observe(table.lines, table.counts, reference)
    pool = weighed_pool(later.draws, len(table.lines))
    weighed = reweight(observed, pool)
    if not weighed.is_enough:
        return refused("few_draws" if weighed.too_few else "long_tail", weighed)
    counts = count_boxes(observed.observations)
    pairs = counts.genus, counts.seller, *counts.pairs
    return QuickUpdate(
        revision=later.revision,
        boxes=later.boxes,
        plants=counts.n_plants,
        effective_draws=weighed.effective,
        pareto_k=_finite(weighed.pareto_k),
        levels=dict(counts.levels),
        boxes_of={kind: counts.by_level[kind].boxes.tolist() for kind in KINDS},
        plants_of={kind: counts.by_level[kind].plants.tolist() for kind in KINDS},
        pairs=list(zip(*(column.tolist() for column in pairs), strict=True)),
        pool=pool.n_draws,
        draws=weighed.index(later.draws.key, later.draws.n_draws),
    )


def weighed_pool(draws: PosteriorDraws, n_lines: int) -> PosteriorDraws:
    """Return what is weighed by so many lines: a version's draws, or of the rules of thumb as many as time allows."""
    if draws is not rules_draws(draws.reference):
        return draws
    return rules_pool(draws.reference, STORED_DRAWS * int(np.clip(WEIGHED // n_lines, 1, MOST_OF_RULES)))


def _finite(number: float) -> float | None:
    """Return a number, None where it is none that JSON knows."""
    return number if np.isfinite(number) else None
