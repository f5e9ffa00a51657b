"""What a fit rests on: boxes and plants behind each level, and how much of the prior's variance they removed.

    weight = 1 - Var(eta | boxes, theta) / Var(eta | theta)

both at the mode of theta (scales and thermal parameters), eta without shipment and line effects. Levels without boxes
have their prior variance in both, so a plant of an unknown genus has little weight whatever else is known.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from model.plant import KINDS, Level, Plant, drift_quarters, nearest_drift, prior_sd
from model.reference import Reference

Array = NDArray[np.float64]
Counts = NDArray[np.int64]

# Effects of a plant: group, genus, cultivar, container, roots, service, seller_kind, seller, drift.
N_TERMS = len(KINDS)

FIRST_LEVEL = 2

ROWS_AT_ONCE = 1024


class LevelCounts(NamedTuple):
    """Boxes with a level and plants sent with it, (levels,) each."""

    boxes: Counts
    plants: Counts


@dataclass(frozen=True, eq=False)
class BoxCounts:
    """Boxes and plants behind a fit.

    Attributes
    ----------
    n_boxes, n_plants : int
    levels : mapping of kind to tuple of levels
    by_level : mapping of kind to LevelCounts
    genus, seller : (pairs,)
        Indices into the levels of genera and sellers of every pair that shared a box.
    pairs : LevelCounts
        Of each pair.
    """

    n_boxes: int
    n_plants: int
    levels: Mapping[str, tuple[Level, ...]]
    by_level: Mapping[str, LevelCounts]
    genus: Counts
    seller: Counts
    pairs: LevelCounts

    def of_level(self, kind: str, level: Level) -> tuple[int, int]:
        """Return the boxes and plants of a level; 0 and 0 where it has none."""
        code = self._codes[kind].get(level)
        if code is None:
            return 0, 0
        counts = self.by_level[kind]
        return int(counts.boxes[code]), int(counts.plants[code])

    def of_plant(self, plant: Plant) -> tuple[int, int]:
        """Return the boxes and plants with the genus of a plant, and from its seller where it is named."""
        if plant.seller is None:
            return self.of_level("genus", plant.genus_level)
        return self._pairs.get((plant.genus_level, plant.seller_level), (0, 0))

    def knows(self, kind: str, level: Level) -> bool:
        """Whether a level has boxes."""
        return level in self._codes[kind]

    @cached_property
    def _codes(self) -> dict[str, dict[Level, int]]:
        return {kind: {level: code for code, level in enumerate(levels)} for kind, levels in self.levels.items()}

    @cached_property
    def _pairs(self) -> dict[tuple[Level, Level], tuple[int, int]]:
        genera, sellers = self.levels["genus"], self.levels["seller"]
        rows = zip(self.genus.tolist(), self.seller.tolist(), *(c.tolist() for c in self.pairs), strict=True)
        return {(genera[g], sellers[s]): (boxes, plants) for g, s, boxes, plants in rows}


class Terms(NamedTuple):
    """The effects of plants: columns and loadings, (plants, 9) each, and the variance that no box bears on, (plants,).

    A column past the last is an effect without boxes, or none; its loading is 0.
    """

    columns: NDArray[np.intp]
    loadings: Array
    rest: Array


@dataclass(frozen=True, eq=False)
class FitVariance:
    """Variances of (alpha, kappa, effects) at the mode of theta, before and after the boxes.

    Attributes
    ----------
    levels : mapping of kind to tuple of levels
        In the order of `KINDS` they follow alpha and kappa.
    prior_variance : (p,)
    prior_covariance : float
        Of alpha and kappa.
    posterior : (p, p) float32
    scales : mapping of name to float
        The learned scales at the mode.
    reference : Reference
    """

    levels: Mapping[str, tuple[Level, ...]]
    prior_variance: Array
    prior_covariance: float
    posterior: NDArray[np.float32]
    scales: Mapping[str, float]
    reference: Reference
    _padded: NDArray[np.float32] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        """Add the row and column of effects without boxes."""
        object.__setattr__(self, "_padded", np.pad(self.posterior, (0, 1)))

    @cached_property
    def _column(self) -> dict[tuple[str, Level], int]:
        pairs = [(kind, level) for kind in KINDS for level in self.levels[kind]]
        return {pair: FIRST_LEVEL + i for i, pair in enumerate(pairs)}

    @cached_property
    def _quarters(self) -> dict[str, tuple[int, ...]]:
        return drift_quarters(self.levels["drift"])

    def terms(self, plants: Sequence[Plant]) -> Terms:
        """Return the effects of plants."""
        none = len(self.prior_variance)
        columns = np.full((len(plants), N_TERMS), none, dtype=np.intp)
        loadings, rest = np.zeros((len(plants), N_TERMS)), np.zeros(len(plants))
        for i, plant in enumerate(plants):
            for j, (kind, level, variance) in enumerate(self._effects(plant)):
                column = self._column.get((kind, level))
                if column is None:
                    rest[i] += variance
                else:
                    columns[i, j], loadings[i, j] = column, 1.0
            rest[i] += self._drift(plant, columns[i], loadings[i])
        return Terms(columns, loadings, rest)

    def _effects(self, plant: Plant) -> list[tuple[str, Level, float]]:
        """Return kind, level and prior variance of each effect of a plant but its seller's drift."""
        return [
            (kind, level, prior_sd(kind, level, self.scales, self.reference) ** 2)
            for kind, level in plant.levels.items()
            if level is not None and kind != "drift"
        ]

    def _drift(self, plant: Plant, columns: NDArray[np.intp], loadings: Array) -> float:
        """Set the last term to the nearest quarter of the seller, and return the variance beyond it."""
        seller = plant.seller_level
        variance = prior_sd("drift", (seller, 0), self.scales, self.reference) ** 2
        states = self._quarters.get(seller, ())
        if not states:
            return variance
        nearest, rho = nearest_drift(states, plant.quarter)
        columns[-1], loadings[-1] = self._column["drift", (seller, nearest)], rho
        return float((1.0 - rho**2) * variance)

    def weights(self, terms: Terms, clock: Array) -> Array:
        """Return the evidence weight of plants, (plants,), between 0 and 1.

        Parameters
        ----------
        terms : Terms
        clock : (plants,)
            log(D / 7) - log TR0.
        """
        weights = np.empty(len(clock))
        prior = np.append(self.prior_variance, 0.0)
        for start in range(0, len(clock), ROWS_AT_ONCE):
            part = slice(start, start + ROWS_AT_ONCE)
            columns, c = terms.columns[part], clock[part]
            common = np.stack([np.ones_like(c), c], axis=1)
            loadings = np.concatenate([common, terms.loadings[part]], axis=1)
            places = np.concatenate([np.broadcast_to(np.arange(FIRST_LEVEL), (len(c), FIRST_LEVEL)), columns], axis=1)
            before = (loadings**2 * prior[places]).sum(axis=1) + 2.0 * c * self.prior_covariance + terms.rest[part]
            block = self._padded[places[:, :, None], places[:, None, :]]
            after = np.einsum("ni,nij,nj->n", loadings, block, loadings) + terms.rest[part]
            weights[part] = 1.0 - after / before
        # Single precision, and plants spoilt at packing, can leave a variance above its prior by a hair.
        clipped: Array = np.clip(weights, 0.0, 1.0)
        return clipped
