"""TransitSurvival: the model as a scikit-learn estimator."""

from collections.abc import Mapping
from typing import Self

import numpy as np
from numpy.typing import NDArray
from sklearn.base import BaseEstimator
from sklearn.utils.validation import check_is_fitted

from model.fit.box_predictive import box_log_predictive, described, line_predictors
from model.fit.fitting import fit_boxes
from model.fit.lines import Lines, observe
from model.fit.observations import Observations
from model.fit.plain_table import PlainCounts, PlainTable, read_counts, tabulate_lines
from model.fit.strays import RATES, StrayRates
from model.predict import MarginalChances
from model.reference import Reference, load_reference

Array = NDArray[np.float64]
Table = Lines | PlainTable


class TransitSurvival(BaseEstimator):  # type: ignore[misc]
    """Bayesian current-status survival with two ordered events on one thermal clock.

    Parameters
    ----------
    reference : Reference, optional
        Tables and rules of thumb; the package's own unless given.
    n_draws : int
        Draws kept, equally weighted.
    n_weighed : int, optional
        Draws weighed a round, and no others: for a quick look. Unless given, fewer for larger ledgers, and they are
        moved to the posterior where too few count.
    random_state : int
        Seed.
    strays : StrayRates, optional
        How often records are wrong, and what becomes of a box lost whole; None: the clock speaks of all. A fit with
        them that does not converge is made by the clock alone.

    Attributes
    ----------
    draws_ : PosteriorDraws
        What predictions are made of.
    posterior_ : Posterior
        Weighted draws before resampling.
    hierarchy_ : Hierarchy
    n_boxes_, n_lines_ : int
    diagnostics_ : dict
        Effective number of draws, Pareto k, Newton steps, whether there are enough draws, and whether the fit is of the
        clock alone.

    Examples
    --------
    X is a plain table, a row a line of plants in a box: its days, and the air in the box as one temperature or as a
    logger's trace of (hours, °C) pairs. y are the counts at unboxing: healthy, damaged, dead, sent. These boxes are
    invented; `model.fit.plain_table` lists the columns.

    >>> boxes = [
    ...     {"shipment": "a", "genus": "Philodendron", "days": 4, "inside_c": 21.0},
    ...     {"shipment": "a", "genus": "Hoya", "days": 4, "inside_c": 21.0},
    ...     {"shipment": "b", "genus": "Philodendron", "days": 9, "inside_c": [(0, 27.0), (100, 24.0), (216, 18.0)]},
    ...     {"shipment": "c", "genus": "Philodendron", "days": 12, "inside_c": 24.0, "container": "carton"},
    ... ]
    >>> counts = [[19, 1, 0, 20], [10, 0, 0, 10], [11, 5, 4, 20], [3, 5, 12, 20]]
    >>> model = TransitSurvival(n_draws=512, n_weighed=512).fit(boxes, counts)
    >>> asked = [{"shipment": "next", "genus": "Philodendron", "days": days, "inside_c": 21.0} for days in (4, 12)]
    >>> soon, late = model.predict_proba(asked)
    >>> bool(soon[0] > late[0]), bool(soon[2] < late[2])
    (True, True)
    """

    def __init__(
        self,
        reference: Reference | None = None,
        *,
        n_draws: int = 4096,
        n_weighed: int | None = None,
        random_state: int = 0,
        strays: StrayRates | None = RATES,
    ) -> None:
        self.reference = reference
        self.strays = strays
        self.n_draws = n_draws
        self.n_weighed = n_weighed
        self.random_state = random_state

    def fit(self, X: Table, y: PlainCounts, sample_weight: Array | None = None) -> Self:  # noqa: N803 - scikit-learn's name
        """Fit to arrived boxes.

        Parameters
        ----------
        X : sequence of mappings, mapping of columns, or (lines,) structured array of `LINE_DTYPE`
            A plain table as `tabulate_lines` takes it, or a table of lines with their exposure worked out. The first
            and the last can be split by rows, so they work in cross-validation.
        y : (lines, 4)
            Healthy, damaged, dead, sent; NaN where unknown.
        sample_weight : (lines,), optional
            Multiplies a line's counts.

        Raises
        ------
        TableError
            When a plain table or its counts cannot be read; names the row and the column.
        CountError
            When counts do not add up.
        ConvergenceError
            When Newton's steps do not settle.
        """
        lines, counts = self._lines(X), _counts(X, y)
        if sample_weight is not None:
            counts = counts * np.asarray(sample_weight, dtype=float)[:, None]
        return self.fit_observations(observe(lines, counts, self._reference()).observations)

    def _lines(self, X: Table) -> Lines:  # noqa: N803
        return X if isinstance(X, np.ndarray) else tabulate_lines(X, self._reference())

    def _reference(self) -> Reference:
        return self.reference or load_reference()

    def fit_observations(self, observations: Observations) -> Self:
        """Fit to boxes that were observed already (`observe`); raises as `fit` does."""
        fitted = fit_boxes(
            observations,
            self._reference(),
            n_draws=self.n_draws,
            n_weighed=self.n_weighed,
            seed=self.random_state,
            strays=self.strays,
        )
        self.draws_, self.posterior_, self.hierarchy_ = fitted.draws, fitted.posterior, fitted.hierarchy
        self.n_boxes_, self.n_lines_ = observations.n_boxes, len(observations)
        self.diagnostics_ = fitted.diagnostics
        return self

    def predict_proba(self, X: Table) -> Array:  # noqa: N803
        """Return the chances of healthy, damaged and dead in boxes not yet seen, (lines, 3)."""
        check_is_fitted(self, "draws_")
        chances = MarginalChances(self.draws_)
        lines = self._lines(X)
        result = np.empty((len(lines), 3))
        for i, row in enumerate(line_predictors(*described(lines, self.draws_.reference), self.draws_)):
            healthy, dead = (float(p.mean(dtype=np.float64)) for p in chances(row.eta))
            result[i] = healthy, 1.0 - healthy - dead, dead
        return result

    def log_predictive(self, X: Table, y: PlainCounts) -> Array:  # noqa: N803
        """Return the joint log predictive probability of the counts of each box, (boxes,), boxes by name."""
        check_is_fitted(self, "draws_")
        return box_log_predictive(observe(self._lines(X), _counts(X, y), self._reference()), self.draws_)

    def score(self, X: Table, y: PlainCounts) -> float:  # noqa: N803
        """Return the mean log predictive probability of a box."""
        return float(self.log_predictive(X, y).mean())


def _counts(X: Table, y: PlainCounts) -> Array:  # noqa: N803
    """Return counts as numbers, (lines, 4); those of a plain table are checked row by row."""
    if isinstance(X, np.ndarray):
        return np.asarray(y, dtype=np.float64)
    return read_counts(y, len(next(iter(X.values()))) if isinstance(X, Mapping) else len(X))
