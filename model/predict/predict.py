"""Chances of plants from stored posterior draws.

    eta = alpha + effects + kappa (log(D / 7) - log TR0) + shipment + line

The hazards and chances of a plant whose log hazard on the clock is eta: `model.plant.hazard`.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from functools import cached_property, lru_cache
from typing import Any
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from model.exposure import ClockDraws
from model.plant import (
    REFERENCE_DAYS,
    UNNAMED,
    Level,
    Plant,
    chances,
    clock_hazards,
    cumulative_hazards,
    deviations,
    drift_quarters,
    log_time_ratio,
    nearest_drift,
    prior_sd,
    spoilt_hazards,
    time_predictor,
)
from model.predict.late_loss import LEAST_LOG_CHANCE, LateLossDraws, draw_late_loss
from model.prior import BLOCK, ParameterDraws, draw_prior, stratified_normals
from model.quadrature import SCORE_P90, even_nodes
from model.reference import CONSTANTS, Genus, Reference

Array = NDArray[np.float64]
SingleArray = NDArray[np.float32]

UNKNOWN_THRESHOLD_C = CONSTANTS.unknown_threshold_c
UNKNOWN_CLASS = CONSTANTS.unknown_chill_class
# Rows of hazards averaged at once: with their nodes they stay in the cache.
ROWS_AT_ONCE = 32


@lru_cache(maxsize=4096)
def _block_normals(key: int, label: str, block: int, n: int) -> Array:
    """Return one stratified block of a label's normals; the same label and block always give the same draws."""
    rng = np.random.default_rng([key, crc32(label.encode()), block])
    normals: Array = stratified_normals(n, 1, rng=rng)[0]
    normals.flags.writeable = False
    return normals


@lru_cache(maxsize=4096)
def _block_deviations(key: int, label: str, block: int, n: int, kind: str) -> Array:
    """Return a block of a label's deviations of a kind, for an sd of 1."""
    block_of = deviations(kind, _block_normals(key, label, block, n))
    block_of.flags.writeable = False
    return block_of


def _by_blocks(block_of: Callable[[int, int], Array], n: int) -> Array:
    """Join blocks of a block's number and size to n draws."""
    if n % BLOCK:
        return block_of(0, n)
    blocks = [block_of(block, BLOCK) for block in range(n // BLOCK)]
    return blocks[0] if len(blocks) == 1 else np.concatenate(blocks)


def _level_normals(key: int, label: str, n: int) -> Array:
    return _by_blocks(lambda block, size: _block_normals(key, label, block, size), n)


def _level_deviations(key: int, kind: str, level: Level, n: int) -> Array:
    return _by_blocks(lambda block, size: _block_deviations(key, f"{kind}:{level}", block, size, kind), n)


@dataclass(frozen=True, eq=False)
class PosteriorDraws:
    """Draws of everything a prediction needs; a level that the data never touched is drawn from its population.

    Attributes
    ----------
    parameters : ParameterDraws
    late_loss : LateLossDraws
    reference : Reference
    key : int
        Seeds the draws of levels without data: the same level has the same draws in every answer.
    effects : mapping of kind to mapping of level to (draws,)
        Levels with data.
    """

    parameters: ParameterDraws
    late_loss: LateLossDraws
    reference: Reference
    key: int = 0
    effects: Mapping[str, Mapping[Level, Array]] = field(default_factory=dict)

    @property
    def n_draws(self) -> int:
        """Number of draws."""
        return len(self.parameters.alpha)

    def normals(self, label: str) -> Array:
        """Return the stable standard normal draws, (draws,), that belong to a label."""
        return _level_normals(self.key, label, self.n_draws)

    def first_block(self) -> "PosteriorDraws":
        """Return the first `BLOCK` draws, a stratified sample of their own; levels keep the draws they have here."""
        first = self.take(np.arange(BLOCK))
        return PosteriorDraws(first.parameters, first.late_loss, self.reference, self.key, first.effects)

    def take(self, index: NDArray[np.intp]) -> "PosteriorDraws":
        """Return the draws at `index`, in that order and as often as they stand there."""
        stored, n_stored = self._stored(index)
        return _SomeDraws(
            parameters=self.parameters.take(index),
            late_loss=LateLossDraws(self.late_loss.intercept[index], self.late_loss.slope[index]),
            reference=self.reference,
            key=self.key,
            effects={kind: {k: v[index] for k, v in levels.items()} for kind, levels in self.effects.items()},
            index=stored,
            n_stored=n_stored,
        )

    def single(self) -> "PosteriorDraws":
        """Return parameters and late loss in single precision, without effects: for `linear_predictor` and chances."""
        own: dict[str, Any] = {
            part.name: getattr(self.parameters, part.name).astype(np.float32)
            for part in fields(self.parameters)
            if part.name not in ("scales", "n_replaced")
        }
        own["scales"] = {name: scale.astype(np.float32) for name, scale in self.parameters.scales.items()}
        late_loss: list[Any] = [part.astype(np.float32) for part in (self.late_loss.intercept, self.late_loss.slope)]
        return PosteriorDraws(replace(self.parameters, **own), LateLossDraws(*late_loss), self.reference, self.key)

    def _stored(self, index: NDArray[np.intp]) -> tuple[NDArray[np.intp], int]:
        """Return where draws of this object stand among the stored ones, and how many those are."""
        return index, self.n_draws

    def effect(self, kind: str, level: Level) -> Array:
        """Return draws of one effect: the posterior's where the level has data, else of its prior."""
        known = self.effects.get(kind, {}).get(level)
        return known if known is not None else self._sd(kind, level) * self._deviations(kind, level)

    def _deviations(self, kind: str, level: Level) -> Array:
        """Return the stable draws of a level's deviation for an sd of 1, (draws,)."""
        return _level_deviations(self.key, kind, level, self.n_draws)

    def _sd(self, kind: str, level: Level) -> Array | float:
        return prior_sd(kind, level, self.parameters.scales, self.reference)

    def drift(self, seller: str | None, quarter: int | None) -> Array:
        """Return draws of a seller's drift in a quarter (4 x year + quarter; None: the latest with boxes).

        Between quarters with boxes and beyond them it returns to the seller's level as the AR(1) does.
        """
        sd = self._sd("drift", (seller or UNNAMED, quarter or 0))
        states = self._drift_quarters.get(seller or UNNAMED, ())
        if not states:
            return sd * self.normals(f"drift:{seller or UNNAMED}")
        nearest, rho = nearest_drift(states, quarter)
        known = self.effects["drift"][(seller or UNNAMED, nearest)]
        if rho == 1.0:
            return known
        return rho * known + float(np.sqrt(1.0 - rho**2)) * sd * self.normals(f"drift:{seller}:{quarter}")

    @cached_property
    def _drift_quarters(self) -> dict[str, tuple[int, ...]]:
        return drift_quarters(self.effects.get("drift", {}))

    def box_sd(self) -> Array:
        """Return the sd of shipment and line effects together, (draws,)."""
        scales = self.parameters.scales
        sd: Array = np.hypot(scales["shipment"], scales["line"])
        return sd


@dataclass(frozen=True, eq=False)
class _SomeDraws(PosteriorDraws):
    """Some of the stored draws: levels without data keep the draws they have among all."""

    index: NDArray[np.intp] = field(default_factory=lambda: np.empty(0, dtype=np.intp))
    n_stored: int = 0

    def normals(self, label: str) -> Array:
        return _level_normals(self.key, label, self.n_stored)[self.index]

    def _deviations(self, kind: str, level: Level) -> Array:
        return _level_deviations(self.key, kind, level, self.n_stored)[self.index]

    def _stored(self, index: NDArray[np.intp]) -> tuple[NDArray[np.intp], int]:
        return self.index[index], self.n_stored


def draw_prior_posterior(reference: Reference, n: int, *, seed: int) -> PosteriorDraws:
    """Return the draws that stand for the rules of thumb alone."""
    rng = np.random.default_rng(seed)
    return PosteriorDraws(
        parameters=draw_prior(reference, n, rng=rng),
        late_loss=draw_late_loss(reference.late_loss_rules, n, rng=rng),
        reference=reference,
        key=seed,
    )


def genus_effects(plant: Plant, draws: PosteriorDraws) -> Array:
    """Return the effects of group, genus and cultivar on the linear predictor, (draws,)."""
    return with_effects(draws.effect("genus", plant.genus_level), ("group", "cultivar"), plant, draws)


def sending_effects(plant: Plant, draws: PosteriorDraws) -> Array:
    """Return alpha and the effects of packing, service and seller on the linear predictor, (draws,)."""
    kinds = ("container", "roots", "service", "seller_kind", "seller")
    return with_effects(draws.parameters.alpha, kinds, plant, draws) + draws.drift(plant.seller_level, plant.quarter)


def with_effects(total: Array, kinds: Sequence[str], plant: Plant, draws: PosteriorDraws) -> Array:
    """Return a total, (draws,), and the effects of some kinds on a plant; a reference level has none."""
    levels = plant.levels
    for kind in kinds:
        level = levels[kind]
        if level is not None:
            total = total + draws.effect(kind, level)
    return total


def plant_effects(plant: Plant, draws: PosteriorDraws) -> Array:
    """Return eta after 7 equivalent days without shipment and line effects: alpha, all others, time ratio; (draws,)."""
    return PlantEffects(draws)(plant)


class PlantEffects:
    """`plant_effects` of many plants under the same draws: of a genus, and of a way to send, they are summed once."""

    def __init__(self, draws: PosteriorDraws) -> None:
        self._draws = draws
        self._of_genus: dict[tuple[object, ...], Array] = {}
        self._of_sending: dict[Plant, Array] = {}

    def __call__(self, plant: Plant) -> Array:
        """Return eta after 7 equivalent days, (draws,)."""
        sending = replace(plant, genus=None, cultivar=None)
        if sending not in self._of_sending:
            self._of_sending[sending] = sending_effects(sending, self._draws)
        days = np.log(REFERENCE_DAYS)
        effects = self.of_genus(plant) + self._of_sending[sending]
        return effects + time_predictor(
            self._draws.parameters.kappa, days, log_time_ratio(plant, self._draws.reference)
        )

    def of_genus(self, plant: Plant) -> Array:
        """Return the effects of group, genus and cultivar, (draws,)."""
        levels = plant.genus_level, plant.levels["group"], plant.levels["cultivar"]
        if levels not in self._of_genus:
            self._of_genus[levels] = genus_effects(plant, self._draws)
        return self._of_genus[levels]


def tabulated_cold(genus: Genus | None, reference: Reference) -> tuple[float, float]:
    """Return the chilling threshold, °C, and the sensitivity of a genus as tabulated; None: of no known genus."""
    row = reference.chill_classes[genus.chill_class if genus else UNKNOWN_CLASS]
    return genus.chill_threshold_c if genus else UNKNOWN_THRESHOLD_C, row.sensitivity


def clock_draws(genera: list[Genus | None], draws: PosteriorDraws) -> ClockDraws:
    """Return the clock's parameters for each genus: threshold and class are drawn in every prediction."""
    thresholds, slopes = [], []
    classes = draws.reference.chill_classes
    for genus in genera:
        name = genus.genus if genus else UNNAMED
        row = classes[genus.chill_class if genus else UNKNOWN_CLASS]
        centre, sensitivity = tabulated_cold(genus, draws.reference)
        sd = CONSTANTS.threshold_sd_c if genus else CONSTANTS.unknown_threshold_sd_c
        thresholds.append(centre + sd * draws.normals(f"threshold:{name}"))
        spread = np.log(row.factor_80) / SCORE_P90 * (1.0 if genus else CONSTANTS.unknown_class_spread)
        slopes.append(draws.parameters.chill_rate * sensitivity * np.exp(spread * draws.normals(f"chill_class:{name}")))
    return ClockDraws(
        log_q10=draws.parameters.log_q10, threshold_c=np.stack(thresholds), chill_per_day_c=np.stack(slopes)
    )


def linear_predictor(effects: Array, equivalent_days: Array, draws: PosteriorDraws) -> Array:
    """Return eta without shipment and line effects from that after 7 equivalent days; the draw axis is last."""
    return effects + time_predictor(draws.parameters.kappa, np.log(equivalent_days))


def box_chances(eta: Array, delta: Array, h0: Array) -> tuple[Array, Array]:
    """Return P(healthy) and P(dead) of plants in boxes whose effects are in `eta`; the draw axis is last."""
    with np.errstate(over="ignore"):  # an infinite hazard is death for certain
        hazard = np.exp(eta)
    return chances(*cumulative_hazards(hazard, delta, h0))


class MarginalChances:
    """Chances of a plant in a box not yet seen, averaged over shipment and line effects and over being lost whole.

    Each draw has its own sd of the two together, and as many even nodes as that needs (`quadrature.even_nodes`): errors
    stay below 1e-3 for any sd up to 4. The average is taken in single precision, which adds less than 1e-6 and halves
    the time of large requests. It takes least for draws in `node_order`.
    """

    def __init__(self, draws: PosteriorDraws) -> None:
        parameters, box_sd = draws.parameters, draws.box_sd()
        self._groups = [_NodeGroup.of(members, box_sd, parameters.delta) for members in _by_node_count(box_sd)]
        kept = 1.0 - parameters.lost
        self._not_spoilt, self._not_spoilt_dead = (
            (kept * np.exp(-spoilt)).astype(np.float32) for spoilt in spoilt_hazards(parameters.h0)
        )
        self._lost_healthy = (parameters.lost * CONSTANTS.lost_healthy).astype(np.float32)
        self._most_dead = (1.0 - parameters.lost * (1.0 - CONSTANTS.lost_dead)).astype(np.float32)

    def __call__(self, eta: Array | SingleArray) -> tuple[SingleArray, SingleArray]:
        """Return P(healthy) and P(dead), shape of `eta`, (..., draws)."""
        flat = eta.astype(np.float32, copy=False).reshape(-1, eta.shape[-1])
        healthy, dead = np.empty_like(flat), np.empty_like(flat)
        with np.errstate(over="ignore"):  # a hazard beyond single precision is death for certain
            hazard = np.exp(flat)
            for start in range(0, len(hazard), ROWS_AT_ONCE):
                rows = slice(start, start + ROWS_AT_ONCE)
                for group in self._groups:
                    own, averages = group.members, group.averages(hazard[rows, group.members])
                    # Of the boxes that are not lost whole: dead is still the share alive, less than 0.
                    healthy[rows, own] = averages[:, 0] * self._not_spoilt[own]
                    dead[rows, own] = averages[:, 1] * self._not_spoilt_dead[own]
        healthy += self._lost_healthy
        dead += self._most_dead
        return healthy.reshape(eta.shape), dead.reshape(eta.shape)


def node_order(draws: PosteriorDraws) -> NDArray[np.intp]:
    """Return an order of draws in which those that need equally many nodes stand together."""
    return np.concatenate(_by_node_count(draws.box_sd()))


def _by_node_count(sd: Array) -> list[NDArray[np.intp]]:
    """Return the indices of draws that need equally many nodes, one array a number of nodes."""
    n_nodes = np.array([len(even_nodes(float(own))[0]) for own in sd])
    return [np.flatnonzero(n_nodes == n) for n in np.unique(n_nodes)]


@dataclass(frozen=True, slots=True, eq=False)
class _NodeGroup:
    """Draws averaged over equally many nodes.

    `factors` on the hazard, (2 nodes, members) and negative, are those of being healthy, then those of being alive;
    `weights`, (2, 2 nodes), take the average of the first and minus that of the second.
    """

    members: NDArray[np.intp] | slice
    weights: SingleArray
    factors: SingleArray

    @classmethod
    def of(cls, members: NDArray[np.intp], sd: Array, delta: Array) -> "_NodeGroup":
        nodes, weights = even_nodes(float(sd[members].max()))
        # Hazards of a box are those at its eta times factors.
        factors = np.concatenate(clock_hazards(np.exp(nodes[:, None] * sd[members]), delta[members]))
        together = slice(int(members[0]), int(members[-1]) + 1)
        lie_together = np.array_equal(members, np.arange(together.start, together.stop))
        both = np.kron(np.diag([1.0, -1.0]), weights)
        return cls(together if lie_together else members, both.astype(np.float32), -factors.astype(np.float32))

    def averages(self, hazard: SingleArray) -> SingleArray:
        """Return the chance of being healthy and minus that of being alive, (rows, 2, members), of (rows, members)."""
        work = hazard[:, None] * self.factors
        np.maximum(work, LEAST_LOG_CHANCE, out=work)
        np.exp(work, out=work)
        averages: SingleArray = np.matmul(self.weights, work)
        return averages
