"""Joint draws of what becomes of a batch on a route: one posterior draw, one journey and one box effect a draw.

Lines of a box share its journey and its shipment effect, so counts are drawn jointly. Every random number has a label
and a seed: routes and ship dates of a request share them (common random numbers).
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from typing import NamedTuple
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from app.abandoned import end_if_abandoned
from app.batch import PAPERS_SD_LOG, BatchLine, PreparedBatch, RoutePlan, WeatherDraws
from app.schemas import Batch
from app.serving import Engine
from model.exposure import Exposure, expose
from model.predict import PosteriorDraws, box_chances, clock_draws, linear_predictor, plant_effects
from model.reference import CONSTANTS

Array = NDArray[np.float64]
Counts = NDArray[np.int64]

# Of the shipment variance, what belongs to the consignment; the rest is the box's.
CONSIGNMENT_SHARE = CONSTANTS.consignment_share
# Up to here each plant has its own uniform, shared by routes and dates; above, counts are drawn as binomials.
MOST_SINGLE_PLANTS = 128
# Uniforms of single plants are kept while a request needs no more than this many bytes.
MOST_KEPT_BYTES = 64 * 2**20
LEVELS = 2**16
# Nothing is alive after so long; the far tail of a very skewed time in transit is followed no further.
LONGEST_DAYS = CONSTANTS.longest_journey_days


class Journeys(NamedTuple):
    """Days from closing to opening, (draws,), and the exposure of the plants of one box or of boxes together."""

    days: Array
    exposure: Exposure


@dataclass(frozen=True, slots=True, eq=False)
class RouteDraws:
    """Outcomes of a route; counts have shape (draws, lines), times (fates x draws,)."""

    healthy: Counts
    damaged: Counts
    dead: Counts
    healthy_two_weeks: Counts
    healthy_chance: Array
    days: Array
    equivalent_days: Array
    chill_dose_days: Array
    inside_c: Array
    inside_hour: NDArray[np.intp]
    pack_froze: NDArray[np.bool_]
    line_genus: tuple[int, ...]


class ExpectedCounts(NamedTuple):
    """Plants expected in each draw, (draws, lines): `damaged` are those neither dead nor healthy two weeks on."""

    two_weeks: Array
    damaged: Array
    dead: Array


class BatchSimulation:
    """Draws shared by all routes and dates of one request."""

    def __init__(self, engine: Engine, lines: Sequence[BatchLine], *, draws: int, seed: int) -> None:
        self.lines, self.n_draws, self._seed = tuple(lines), draws, seed
        stored = engine.draws
        index = np.arange(draws) % stored.n_draws
        self.posterior: PosteriorDraws = stored if draws == stored.n_draws else stored.take(index)
        genera = list(dict.fromkeys(line.plant.genus for line in self.lines))
        self.line_genus = tuple(genera.index(line.plant.genus) for line in self.lines)
        self.clock = clock_draws(genera, self.posterior)
        total = sum(line.quantity for line in self.lines if line.quantity <= MOST_SINGLE_PLANTS)
        self._keep = total * draws * 2 <= MOST_KEPT_BYTES
        self._kept: dict[str, NDArray[np.uint16]] = {}
        self._effects: dict[tuple[str, int | None], Array] = {}

    def rng(self, label: str) -> np.random.Generator:
        """Return the generator of a label, always in the same state."""
        return np.random.default_rng([self._seed, crc32(label.encode())])

    def uniforms(self, label: str) -> Array:
        """Return (draws,) uniforms in (0, 1), one in each of as many equal parts."""
        rng = self.rng(label)
        stratified: Array = (rng.permutation(self.n_draws) + rng.random(self.n_draws)) / self.n_draws
        return stratified

    def normals(self, label: str) -> Array:
        """Return (draws,) standard normal draws."""
        return self.rng(label).standard_normal(self.n_draws)

    @cached_property
    def line_effects(self) -> Array:
        """The effects of the lines in their box, (lines, draws)."""
        normals = self.rng("line effect").standard_normal((len(self.lines), self.n_draws))
        return normals * self.posterior.parameters.scales["line"]

    def route_effects(self, service: str, quarter: int | None = None) -> Array:
        """Return the linear predictor of each line but for days, shipment: (lines, draws)."""
        key = (service, quarter)
        if key not in self._effects:
            plants = [replace(line.plant, service=service, quarter=quarter) for line in self.lines]
            unique = {plant: plant_effects(plant, self.posterior) for plant in dict.fromkeys(plants)}
            self._effects[key] = np.stack([unique[plant] for plant in plants]) + self.line_effects
        return self._effects[key]

    def shipment_effect(self, box: int) -> Array:
        """Return the effect of a box, its consignment's part included, (draws,)."""
        z = np.sqrt(CONSIGNMENT_SHARE) * self.normals("consignment")
        z = z + np.sqrt(1.0 - CONSIGNMENT_SHARE) * self.normals(f"box {box}")
        effect: Array = self.posterior.parameters.scales["shipment"] * z
        return effect

    def _single_plants(self, line: int) -> NDArray[np.uint16]:
        label = f"plants {line}"
        if label in self._kept:
            return self._kept[label]
        shape = (self.lines[line].quantity, self.n_draws)
        drawn = self.rng(label).integers(0, LEVELS, size=shape, dtype=np.uint16)
        if self._keep:
            self._kept[label] = drawn
        return drawn

    def journeys(
        self,
        plan: RoutePlan,
        ship_date: date,
        weather: WeatherDraws,
        *,
        layover_days: float = 0.0,
    ) -> list[Journeys]:
        """Follow the journeys of a route, one set of draws for each box that travels apart.

        Papers, layover and days without work come on top of the transit time.
        """
        return [self._journeys_of_box(plan, box, ship_date, weather, layover_days) for box in range(plan.n_fates)]

    def _journeys_of_box(
        self,
        plan: RoutePlan,
        box: int,
        ship_date: date,
        weather: WeatherDraws,
        layover_days: float,
    ) -> Journeys:
        end_if_abandoned()
        lane = plan.lane
        uniforms = [self.uniforms(f"{name} {box}") for name in ("body", "delayed", "delay")]
        total, delay = plan.transit.sample(*uniforms)
        total, delay = np.minimum(total, LONGEST_DAYS), np.minimum(delay, 0.5 * LONGEST_DAYS)
        papers = np.zeros_like(total)
        if plan.papers_days > 0:
            papers += plan.papers_days * np.exp(PAPERS_SD_LOG * self.normals("papers"))
        closed_at = lane.closing(ship_date)
        ends = plan.itinerary(closed_at, layover_days).ends_h(total - delay, delay, papers)
        streets = weather.streets(lane, closed_at, int(np.ceil(ends[-1].max())) + 1)
        return Journeys(ends[-1] / 24.0, expose(lane.legs, ends, streets, plan.box, self.clock))

    def plant_chances(self, plan: RoutePlan, exposure: Exposure, box: int = 0) -> Iterator[tuple[Array, Array]]:
        """Yield P(healthy) and P(dead) at unboxing of each line's plants in one box, (draws,) each."""
        effects = self.route_effects(plan.lane.service.service, plan.quarter)
        eta = linear_predictor(self.shipment_effect(box), exposure.equivalent_days, self.posterior)
        parameters = self.posterior.parameters
        for own, genus in zip(effects, self.line_genus, strict=True):
            yield self._or_lost(box, *box_chances(own + eta[genus], parameters.delta, parameters.h0))

    def _or_lost(self, box: int, healthy: Array, dead: Array) -> tuple[Array, Array]:
        """Return the chances, (draws,) each, with those of a box lost whole in the draws in which it is."""
        lost = self.lost(box)
        return np.where(lost, CONSTANTS.lost_healthy, healthy), np.where(lost, CONSTANTS.lost_dead, dead)

    def lost(self, box: int) -> NDArray[np.bool_]:
        """Return the draws in which a box is lost whole, whatever its route, (draws,)."""
        lost: NDArray[np.bool_] = self.uniforms(f"lost {box}") < self.posterior.parameters.lost
        return lost

    def late_loss_chance(self, exposure: Exposure, box: int = 0) -> Array:
        """Return the chance of loss within two weeks among the plants of each genus in one box, (genera, draws)."""
        return self.posterior.late_loss.chance_in_box(exposure.chill_dose_days, self.normals(f"late {box}"))

    def shared_predictors(self, plan: RoutePlan, exposure: Exposure) -> Array:
        """Return eta of each line but for its line effect, of a route whose boxes share one fate, (lines, draws)."""
        effects = self.route_effects(plan.lane.service.service, plan.quarter) - self.line_effects
        eta = linear_predictor(self.shipment_effect(0), exposure.equivalent_days, self.posterior)
        shared: Array = effects + eta[list(self.line_genus)]
        return shared

    def chance_by_box(self, plan: RoutePlan, journeys: Sequence[Journeys], line: int) -> Array:
        """Return the chance that a plant of a line is healthy at unboxing in each box, (draws, boxes)."""
        effects, genus = self.route_effects(plan.lane.service.service, plan.quarter)[line], self.line_genus[line]
        parameters = self.posterior.parameters
        chances = []
        for box, (_, exposure) in enumerate(journeys):
            eta = linear_predictor(self.shipment_effect(box) + effects, exposure.equivalent_days[genus], self.posterior)
            chances.append(self._or_lost(box, *box_chances(eta, parameters.delta, parameters.h0))[0])
        return np.stack(chances, axis=1)

    def outcomes(self, plan: RoutePlan, journeys: Sequence[Journeys]) -> RouteDraws:
        """Return the joint counts of a route from its journeys."""
        n_lines, n = len(self.lines), self.n_draws
        counts = {name: np.zeros((n_lines, n), dtype=np.int64) for name in ("healthy", "dead", "two_weeks")}
        chance = np.zeros((n_lines, n))
        for box, (_, exposure) in enumerate(journeys):
            late = self.late_loss_chance(exposure, box)
            for i, (healthy, dead) in enumerate(self.plant_chances(plan, exposure, box)):
                quantity = self.lines[i].quantity
                first, last = _share_of_box(quantity, box, plan.n_fates)
                if first == last:
                    continue
                two_weeks = healthy * (1.0 - late[self.line_genus[i]])
                for name, count in self._count(i, first, last, healthy, dead, two_weeks).items():
                    counts[name][i] += count
                chance[i] += healthy * ((last - first) / quantity)
        sent = np.array([[line.quantity] for line in self.lines])
        return RouteDraws(
            healthy=counts["healthy"].T,
            damaged=(sent - counts["healthy"] - counts["dead"]).T,
            dead=counts["dead"].T,
            healthy_two_weeks=counts["two_weeks"].T,
            healthy_chance=chance.T,
            days=np.concatenate([j.days for j in journeys]),
            equivalent_days=np.concatenate([j.exposure.equivalent_days for j in journeys], axis=1),
            chill_dose_days=np.concatenate([j.exposure.chill_dose_days for j in journeys], axis=1),
            inside_c=np.concatenate([j.exposure.inside_c for j in journeys]),
            inside_hour=np.concatenate([j.exposure.inside_hour for j in journeys]),
            pack_froze=np.concatenate([j.exposure.pack_froze for j in journeys]),
            line_genus=self.line_genus,
        )

    def expected_counts(self, plan: RoutePlan, journeys: Sequence[Journeys]) -> ExpectedCounts:
        """Return what the joint counts of a route are expected to be given all but the chance of each plant."""
        two_weeks, dead = (np.zeros((len(self.lines), self.n_draws)) for _ in range(2))
        for box, (_, exposure) in enumerate(journeys):
            late = self.late_loss_chance(exposure, box)
            for i, (healthy, lost) in enumerate(self.plant_chances(plan, exposure, box)):
                first, last = _share_of_box(self.lines[i].quantity, box, plan.n_fates)
                two_weeks[i] += (last - first) * healthy * (1.0 - late[self.line_genus[i]])
                dead[i] += (last - first) * lost
        sent = np.array([[line.quantity] for line in self.lines])
        return ExpectedCounts(two_weeks.T, (sent - two_weeks - dead).T, dead.T)

    def _count(
        self, i: int, first: int, last: int, healthy: Array, dead: Array, two_weeks: Array
    ) -> Mapping[str, NDArray[np.integer]]:
        """Draw the counts of a line in one box: plants are ordered outcomes of one uniform each."""
        if self.lines[i].quantity <= MOST_SINGLE_PLANTS:
            plants = self._single_plants(i)[first:last]
            return {
                "healthy": _below(plants, healthy),
                "two_weeks": _below(plants, two_weeks),
                "dead": (last - first) - _below(plants, 1.0 - dead).astype(np.int64),
            }
        rng, n = self.rng(f"plants {i} from {first}"), last - first
        kept = rng.binomial(n, healthy)
        still = rng.binomial(kept, np.divide(two_weeks, healthy, out=np.zeros_like(healthy), where=healthy > 0))
        of_rest = np.divide(dead, 1.0 - healthy, out=np.zeros_like(dead), where=healthy < 1)
        return {"healthy": kept, "two_weeks": still, "dead": rng.binomial(n - kept, np.clip(of_rest, 0.0, 1.0))}


def _below(plants: NDArray[np.uint16], chance: Array) -> NDArray[np.uint8]:
    """Return how many plants, (plants, draws), have a uniform below a chance; exact to 1 in 65,536."""
    level = np.rint(chance * LEVELS)
    limit = np.minimum(level, LEVELS - 1).astype(np.uint16)
    counted: NDArray[np.uint8] = (plants < limit).sum(axis=0, dtype=np.uint8)
    full = level >= LEVELS
    if full.any():
        counted[full] = len(plants)
    return counted


def _share_of_box(quantity: int, box: int, n_boxes: int) -> tuple[int, int]:
    """Return the plants [first, last) of a line in a box when they are dealt evenly."""
    return quantity * box // n_boxes, quantity * (box + 1) // n_boxes


# Days of weather kept ready past the last ship date; a journey that lasts longer keeps the last day's.
WEATHER_DAYS = 40


def shared_draws(
    batch: Batch,
    prepared: PreparedBatch,
    engine: Engine,
    first_date: date,
    *,
    span_days: int = 0,
    draws: int | None = None,
) -> tuple[BatchSimulation, WeatherDraws]:
    """Return the draws that all routes and the ship dates of `span_days` after the first share, as many as asked."""
    draws = batch.draws if draws is None else draws
    weather = WeatherDraws(
        engine.reference,
        first_date,
        span_days + WEATHER_DAYS,
        draws=draws,
        seed=batch.seed,
        forecast=prepared.forecast,
    )
    return BatchSimulation(engine, prepared.lines, draws=draws, seed=batch.seed), weather
