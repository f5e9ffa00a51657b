"""What a buyer would use instead: frequencies by genus, logistic regression, gradient boosting; and the rules alone.

Each answers with chances of healthy, damaged and dead, (lines, 3). The two learners choose how much to learn by
cross-validation over whole boxes; every class has a pseudo-plant, so that none has chance 0.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray
from sklearn.ensemble import HistGradientBoostingClassifier
from sklearn.linear_model import LogisticRegression
from threadpoolctl import threadpool_limits

from model.fit.box_predictive import described, line_predictors
from model.predict.predict import MarginalChances, draw_prior_posterior
from model.reference.tables import Reference
from tests.studies.importers import Importer

Array = NDArray[np.float64]

N_DRAWS = 1024
# A genus's frequencies are drawn to the overall ones as if so many plants of it had been seen before.
PSEUDO_PLANTS = 10.0
ONE_HOT = ("genus", "seller", "container", "roots", "service")
PENALTIES = (0.01, 0.1, 1.0)
FOLDS = 4
MOST_TREES, LEARNING_RATE = 120, 0.05


def rules_of_thumb(importer: Importer, reference: Reference, *, seed: int) -> Array:
    """Return what the rules say of the new lines without any box of one's own."""
    draws = draw_prior_posterior(reference, N_DRAWS, seed=seed)
    chances = MarginalChances(draws)
    result = np.empty((len(importer.new_lines), 3))
    for i, row in enumerate(line_predictors(*described(importer.new_lines, draws.reference), draws)):
        healthy, dead = (float(p.mean(dtype=np.float64)) for p in chances(row.eta))
        result[i] = healthy, 1.0 - healthy - dead, dead
    return result


def genus_frequencies(importer: Importer, known: Array) -> Array:
    """Return each genus's own frequencies, smoothed."""
    overall = (known[:, :3].sum(axis=0) + 1.0) / (known[:, 3].sum() + 3.0)
    genus = importer.known_lines["genus"]
    by_genus = {}
    for name in set(importer.lines["genus"]):
        own = known[genus == name]
        by_genus[name] = (own[:, :3].sum(axis=0) + PSEUDO_PLANTS * overall) / (own[:, 3].sum() + PSEUDO_PLANTS)
    return np.array([by_genus[name] for name in importer.new_lines["genus"]])


def features(importer: Importer) -> Array:
    """Return log days, temperature and its square about 20 °C, and one column a level of `ONE_HOT`."""
    columns = [np.log(importer.days / 7.0), importer.inside_c / 10.0 - 2.0, (importer.inside_c / 10.0 - 2.0) ** 2]
    for kind in ONE_HOT:
        names = importer.lines[kind].astype(str)
        columns.extend((names == name).astype(float) for name in np.unique(names))
    return np.column_stack(columns)


def _rows(x: Array, counts: Array) -> tuple[Array, NDArray[np.intp], Array]:
    """Return one row a line and outcome, weighted by its count, and a pseudo-plant of each outcome."""
    line, outcome = np.nonzero(counts[:, :3])
    middle = np.tile(x.mean(axis=0), (3, 1))
    weight = counts[line, outcome]
    return (
        np.concatenate([x[line], middle]),
        np.concatenate([outcome, np.arange(3)]),
        np.concatenate([weight, np.ones(3)]),
    )


def _log_score(chances: Array, counts: Array) -> float:
    return float((counts[:, :3] * np.log(chances)).sum())


def _folds(importer: Importer) -> NDArray[np.intp]:
    boxes = np.unique(importer.known_lines["shipment"].astype(str), return_inverse=True)[1]
    folds: NDArray[np.intp] = boxes % FOLDS
    return folds


def logistic_regression(importer: Importer, known: Array) -> Array:
    """Return a three-class logistic regression's chances, its penalty chosen by cross-validation over boxes."""
    x = features(importer)
    own, fold = x[importer.known], _folds(importer)

    def fitted(rows: NDArray[np.bool_], c: float) -> Any:
        design, outcome, weight = _rows(own[rows], known[rows])
        return LogisticRegression(C=c, max_iter=2000, tol=1e-3).fit(design, outcome, sample_weight=weight)

    scores = [
        sum(_log_score(fitted(fold != k, c).predict_proba(own[fold == k]), known[fold == k]) for k in range(FOLDS))
        for c in PENALTIES
    ]
    best = fitted(np.ones(len(own), dtype=bool), PENALTIES[int(np.argmax(scores))])
    chances: Array = best.predict_proba(x[~importer.known])
    return chances


def gradient_boosting(importer: Importer, known: Array) -> Array:
    """Return gradient-boosted trees' chances, how many trees chosen by cross-validation over boxes."""
    x = features(importer)
    own, fold = x[importer.known], _folds(importer)

    def fitted(rows: NDArray[np.bool_], trees: int) -> Any:
        design, outcome, weight = _rows(own[rows], known[rows])
        learner = HistGradientBoostingClassifier(
            max_iter=trees,
            learning_rate=LEARNING_RATE,
            max_leaf_nodes=8,
            min_samples_leaf=5,
            max_bins=64,
            early_stopping=False,
            random_state=0,
        )
        # Threads would wait for each other: the tables are small.
        with threadpool_limits(1):
            return learner.fit(design, outcome, sample_weight=weight)

    scores = np.zeros(MOST_TREES)
    for k in range(FOLDS):
        held = fold == k
        staged = fitted(~held, MOST_TREES).staged_predict_proba(own[held])
        scores += [_log_score(chances, known[held]) for chances in staged]
    best = fitted(np.ones(len(own), dtype=bool), int(scores.argmax()) + 1)
    chances: Array = best.predict_proba(x[~importer.known])
    return chances
