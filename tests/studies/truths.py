"""Truths that an importer's counts are drawn from: the model itself, and five that it does not contain."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.fit.observations import Observations
from model.plant.hazard import SPOILT_DEATH_OFFSET
from model.predict.predict import box_chances
from model.synthetic import Truth, true_predictor
from tests.studies.importers import Importer

Array = NDArray[np.float64]

# A log-logistic tolerance with mean and sd of the Gumbel (smallest value) one: mean -0.577, sd pi / sqrt(6).
LOGISTIC_CENTRE, LOGISTIC_SCALE = -0.5772156649, float(1.0 / np.sqrt(2.0))
T_DEGREES = 3.0
# The seller with most boxes gets worse by so much on the linear predictor each quarter.
WORSE_A_QUARTER = 0.2
# What the plants of one seller, genus and quarter share, whatever box they travel in; the model has no such effect.
LOT_SD = 0.8
# Share spoilt at packing of the median seller, and how sellers differ on the log scale.
SPOILT, SPOILT_SD = 0.08, 0.8


@dataclass(frozen=True, slots=True, eq=False)
class Fate:
    """What befalls each line: eta with every effect, delta, h0, (lines,) each or scalars; tolerance log-logistic?"""

    eta: Array
    delta: float
    h0: Array | float
    logistic: bool = False

    def chances(self) -> Array:
        """Return chances of healthy, damaged and dead, (lines, 3)."""
        if self.logistic:
            healthy = np.exp(-self.h0) / (1.0 + np.exp((self.eta - LOGISTIC_CENTRE) / LOGISTIC_SCALE))
            alive = np.exp(-self.h0 * np.exp(-SPOILT_DEATH_OFFSET))
            dead = 1.0 - alive / (1.0 + np.exp((self.eta - self.delta - LOGISTIC_CENTRE) / LOGISTIC_SCALE))
        else:
            healthy, dead = box_chances(self.eta, np.array(self.delta), np.asarray(self.h0))
        chances: Array = np.stack([healthy, np.maximum(1.0 - healthy - dead, 0.0), dead], axis=1)
        chances /= chances.sum(axis=1, keepdims=True)
        return chances


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """What a truth starts from: eta without box and line, box and line effects by their own sds, (lines,) each."""

    importer: Importer
    truth: Truth
    eta: Array
    box: Array
    line: Array

    def fate(self, eta: Array, h0: Array | float | None = None, *, logistic: bool = False) -> Fate:
        """Return the fate at a linear predictor; h0 is the truth's own unless given."""
        parameters = self.truth.parameters
        return Fate(eta, parameters["delta"], parameters["h0"] if h0 is None else h0, logistic)


def _model(drawn: Drawn, _: np.random.Generator) -> Fate:
    return drawn.fate(drawn.eta + drawn.box + drawn.line)


def _log_logistic(drawn: Drawn, _: np.random.Generator) -> Fate:
    return drawn.fate(drawn.eta + drawn.box + drawn.line, logistic=True)


def _heavy_tailed_boxes(drawn: Drawn, rng: np.random.Generator) -> Fate:
    observations = drawn.importer.observations
    box = drawn.truth.scales["shipment"] * rng.standard_t(T_DEGREES, observations.n_boxes)[observations.box]
    return drawn.fate(drawn.eta + box + drawn.line)


def _seller_gets_worse(drawn: Drawn, _: np.random.Generator) -> Fate:
    lines = drawn.importer.lines
    sellers, counts = np.unique(lines["seller"].astype(str), return_counts=True)
    worse = WORSE_A_QUARTER * lines["quarter"] * (lines["seller"] == sellers[counts.argmax()])
    return drawn.fate(drawn.eta + worse + drawn.box + drawn.line)


def _lots(drawn: Drawn, rng: np.random.Generator) -> Fate:
    lines = drawn.importer.lines
    names = [f"{line['seller']} {line['genus']} {line['quarter']}" for line in lines]
    lots, lot = np.unique(names, return_inverse=True)
    return drawn.fate(drawn.eta + drawn.box + LOT_SD * rng.standard_normal(len(lots))[lot])


def _spoilt_at_packing(drawn: Drawn, rng: np.random.Generator) -> Fate:
    sellers, seller = np.unique(drawn.importer.lines["seller"].astype(str), return_inverse=True)
    h0 = SPOILT * np.exp(SPOILT_SD * rng.standard_normal(len(sellers)))
    return drawn.fate(drawn.eta + drawn.box + drawn.line, h0[seller])


TRUTHS: dict[str, Callable[[Drawn, np.random.Generator], Fate]] = {
    "the model": _model,
    "log-logistic tolerance": _log_logistic,
    "heavy-tailed boxes": _heavy_tailed_boxes,
    "a seller who gets worse": _seller_gets_worse,
    "lots that share a fate": _lots,
    "spoilt at packing": _spoilt_at_packing,
}


def draw_outcomes(importer: Importer, truth: Truth, name: str, *, rng: np.random.Generator) -> Array:
    """Return healthy, damaged, dead and sent of every line under a truth of `TRUTHS`, (lines, 4)."""
    observations: Observations = importer.observations
    box = truth.scales["shipment"] * rng.standard_normal(observations.n_boxes)[observations.box]
    line = truth.scales["line"] * rng.standard_normal(len(observations))
    fate = TRUTHS[name](Drawn(importer, truth, true_predictor(observations, truth), box, line), rng)
    sent = observations.sent.astype(np.int64)
    counts = rng.multinomial(sent, fate.chances())
    return np.column_stack([counts, sent]).astype(float)
