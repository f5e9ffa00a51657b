"""Ledgers for tests of the fit, written out as arrays, and a prior that says nothing."""

from collections.abc import Mapping, Sequence

import numpy as np
from scipy import special

from model.exposure.table import CHILL_NODES, Q10_NODES, Array, ExposureTable, Indices, constant_log_days
from model.fit.hierarchy import FIT_KINDS, LOG_ODDS_LOST, OUTER, Hierarchy, InnerPrior
from model.fit.lines import LINE_DTYPE, Lines
from model.fit.observations import Observations
from model.plant.hazard import REFERENCE_DAYS
from model.plant.plant import Level
from model.reference.tables import REFERENCE_CONTAINER, REFERENCE_ROOTS, load_reference

REFERENCE = load_reference()
NAN = float("nan")
# So small a gamma prior of delta that it tells nothing: shape and rate.
NOTHING = 1e-9


def constant_exposure(log_days: Array) -> ExposureTable:
    """Return an exposure that no parameter of the clock changes."""
    mean = np.broadcast_to(log_days[:, None, None], (len(log_days), Q10_NODES, CHILL_NODES))
    return ExposureTable(mean, np.zeros_like(mean))


def ledger(
    counts: Array,
    log_days: Array | ExposureTable,
    *,
    box: Indices | None = None,
    named: Mapping[str, list[Level | None]] | None = None,
) -> Observations:
    """Return observations of (lines, 4) counts; `named` gives each line's level of some kinds, None for no effect."""
    named = named or {}
    levels, codes = {}, {}
    for kind in FIT_KINDS:
        own = named.get(kind, [None] * len(counts))
        levels[kind] = tuple(sorted({level for level in own if level is not None}, key=repr))
        codes[kind] = np.array([-1 if level is None else levels[kind].index(level) for level in own], dtype=np.intp)
    return Observations(
        box=np.arange(len(counts)) if box is None else box,
        healthy=counts[:, 0],
        damaged=counts[:, 1],
        dead=counts[:, 2],
        sent=counts[:, 3],
        levels=levels,
        codes=codes,
        log_time_ratio=np.zeros(len(counts)),
        exposure=log_days if isinstance(log_days, ExposureTable) else constant_exposure(log_days),
        unnamed_seller=np.zeros(len(counts), dtype=bool),
        unknown_genus=np.zeros(len(counts), dtype=bool),
    )


def only_healthy(healthy: Array, sent: Array) -> Array:
    """Return the counts of lines of which only healthy / not is known, (lines, 4)."""
    return np.column_stack([healthy, np.full((len(sent), 2), NAN), sent])


def only_dead(dead: Array, sent: Array) -> Array:
    """Return the counts of lines of which only alive / dead is known, (lines, 4)."""
    return np.column_stack([np.full((len(sent), 2), NAN), dead, sent])


class FlatPrior(Hierarchy):
    """A prior without information about alpha, kappa and effects; delta is gamma, by default without any too."""

    def __init__(
        self, observations: Observations, *, delta_shape: float = NOTHING, delta_rate: float = NOTHING
    ) -> None:
        super().__init__(observations, REFERENCE)
        self._delta = delta_shape, delta_rate

    def inner(self, theta: Array) -> InnerPrior:
        return InnerPrior(
            mean=np.zeros(2),
            common=np.zeros((2, 2)),
            sds=np.full(self.n_inner, np.inf),
            student=np.zeros(self.n_inner, dtype=bool),
            drift=self.slices["drift"],
            drift_precision=np.zeros((0, 0)),
            drift_log_det=0.0,
            delta_shape=np.array(self._delta[0]),
            delta_rate=np.array(self._delta[1]),
        )


def theta_of(**changed: float) -> Array:
    """Return the prior median of theta with some entries replaced, log scale."""
    medians = np.array([REFERENCE.prior_scales[name].median for name in OUTER])
    theta: Array = np.log(medians)
    theta[LOG_ODDS_LOST] = special.logit(medians[LOG_ODDS_LOST])
    for name, value in changed.items():
        theta[OUTER.index(name)] = value
    return theta


NOT_SPOILT = theta_of(h0=-np.inf)
LOG_REFERENCE_DAYS = float(np.log(REFERENCE_DAYS))


def table(
    shipment: Sequence[str],
    days: Array,
    *,
    inside_c: float = 20.0,
    genus: str | Sequence[str] = "Anthurium",
    seller: str | None = "Seller A",
    variance: float = 0.0,
) -> Lines:
    """Return a table of lines in the reference packing, whose air stayed at `inside_c`."""
    n = len(days)
    lines = np.empty(n, dtype=LINE_DTYPE)
    lines["shipment"] = shipment
    lines["genus"] = genus if isinstance(genus, str) else np.array(genus, dtype=object)
    for name in ("cultivar", "service", "seller_kind"):
        lines[name] = None
    lines["container"], lines["roots"] = REFERENCE_CONTAINER, REFERENCE_ROOTS
    lines["seller"], lines["quarter"] = seller, 8100 + np.arange(n) * 4 // n
    rows = [REFERENCE.genera.get(name) for name in lines["genus"]]
    threshold = np.array([row.chill_threshold_c if row else 11.0 for row in rows])
    sensitivity = [REFERENCE.chill_classes[row.chill_class].sensitivity if row else 0.4 for row in rows]
    lines["log_days"] = constant_log_days(np.full(n, inside_c), days, threshold, np.array(sensitivity))
    lines["log_days_variance"] = variance
    return lines
