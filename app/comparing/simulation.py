"""Joint draws of what becomes of a batch on a route: one posterior draw, one journey and one box effect a draw.

Lines of a box share its journey and its shipment effect, so counts are drawn jointly. Every random number has a label
and a seed: routes and ship dates of a request share them (common random numbers).
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.abandoned import end_if_abandoned
from app.batch import PAPERS_SD_LOG, BatchLine, PreparedBatch, RoutePlan, WeatherDraws
from app.comparing.random_numbers import MOST_KEPT_BYTES, CommonNumbers
from app.schemas import Batch
from app.serving import Engine
from model.exposure import Exposure, expose
from model.plant import Plant
from model.predict import (
    PlantEffects,
    PosteriorDraws,
    box_chances,
    clock_draws,
    linear_predictor,
    sending_effects,
)
from model.reference import CONSTANTS
from model.transit import TransitTime

Array = NDArray[np.float64]
# Of float32 and of int32; where they are used takes doubles and larger whole numbers too.
SingleArray = NDArray[Any]
Counts = NDArray[Any]

# Up to here each plant has its own uniform, shared by routes and dates; above, counts are drawn as binomials.
MOST_SINGLE_PLANTS = 128
LEVELS = 2**16
# Nothing is alive after so long; the far tail of a very skewed time in transit is followed no further.
LONGEST_DAYS = CONSTANTS.longest_journey_days
# Equivalent days by which draws are put in order.
USUAL_DAYS = 14.0


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
    healthy_chance: SingleArray
    days: Array
    equivalent_days: SingleArray
    chill_dose_days: SingleArray
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

    def __init__(
        self, engine: Engine, lines: Sequence[BatchLine], *, draws: int, seed: int, logged: bool = False
    ) -> None:
        """Take the lines; `logged` whether journeys tell what a logger in the box would."""
        self.lines, self.n_draws, self._logged = tuple(lines), draws, logged
        stored = engine.draws
        index = np.arange(draws) % stored.n_draws
        self.posterior: PosteriorDraws = stored if draws == stored.n_draws else stored.take(index)
        self._single = self.posterior.single()
        self.numbers = CommonNumbers(self.posterior.parameters, self._eta_of_any_plants(), seed=seed)
        self._plant_effects = PlantEffects(self.posterior)
        genera = list(dict.fromkeys(line.plant.genus for line in self.lines))
        self.line_genus = tuple(genera.index(line.plant.genus) for line in self.lines)
        self.clock = clock_draws(genera, self.posterior)
        total = sum(line.quantity for line in self.lines if line.quantity <= MOST_SINGLE_PLANTS)
        self._keep = total * draws * 2 <= MOST_KEPT_BYTES
        self._kept: dict[int, NDArray[np.uint16]] = {}
        self._days: dict[tuple[TransitTime, int], tuple[Array, Array]] = {}
        self._effects: dict[tuple[str, int | None], SingleArray] = {}

    def _eta_of_any_plants(self) -> Array:
        """Return eta, (draws,), of plants of the seller after a usual journey, whatever genus, packing and service.

        So batches that differ in lines, packing or route still share their random numbers.
        """
        first = self.lines[0].plant
        anything = Plant(genus=None, seller_kind=first.seller_kind, seller=first.seller)
        return linear_predictor(sending_effects(anything, self.posterior), np.array(USUAL_DAYS), self.posterior)

    @cached_property
    def line_effects(self) -> SingleArray:
        """The effects of the lines in their box, (lines, draws)."""
        effects: SingleArray = self.numbers.lines(len(self.lines)) * self._single.parameters.scales["line"]
        return effects

    def route_effects(self, service: str, quarter: int | None = None) -> SingleArray:
        """Return the linear predictor of each line but for days, shipment: (lines, draws)."""
        key = (service, quarter)
        if key not in self._effects:
            effects = [
                self._plant_effects(replace(line.plant, service=service, quarter=quarter)) for line in self.lines
            ]
            self._effects[key] = np.stack(effects).astype(np.float32) + self.line_effects
        return self._effects[key]

    def _single_plants(self, line: int) -> NDArray[np.uint16]:
        kept = self._kept.get(line)
        if kept is None:
            kept = self.numbers.plants(line, self.lines[line].quantity, LEVELS)
            if self._keep:
                self._kept[line] = kept
        return kept

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
        total, delay = self._sampled_days(plan.transit, box)
        papers = np.zeros_like(total)
        if plan.papers_days > 0:
            papers += plan.papers_days * np.exp(PAPERS_SD_LOG * self.numbers.papers())
        closed_at = lane.closing(ship_date)
        ends = plan.itinerary(closed_at, layover_days).ends_h(total - delay, delay, papers)
        streets = weather.streets(lane, closed_at, int(np.ceil(ends[-1].max())) + 1)
        return Journeys(ends[-1] / 24.0, expose(lane.legs, ends, streets, plan.box, self.clock, logged=self._logged))

    def _sampled_days(self, transit: TransitTime, box: int) -> tuple[Array, Array]:
        """Return total and delay of a box, (draws,) each, the same on every ship date."""
        kept = self._days.get((transit, box))
        if kept is None:
            total, delay = transit.sample(*self.numbers.journey(box))
            kept = np.minimum(total, LONGEST_DAYS), np.minimum(delay, 0.5 * LONGEST_DAYS)
            if 2 * total.nbytes * (len(self._days) + 1) <= MOST_KEPT_BYTES:
                self._days[transit, box] = kept
        return kept

    def plant_chances(
        self, plan: RoutePlan, exposure: Exposure, box: int = 0
    ) -> Iterator[tuple[SingleArray, SingleArray]]:
        """Yield P(healthy) and P(dead) at unboxing of each line's plants in one box, (draws,) each."""
        effects = self.route_effects(plan.lane.service.service, plan.quarter)
        eta = linear_predictor(self.numbers.shipment(box), exposure.equivalent_days, self._single)
        lost = np.flatnonzero(self.numbers.lost(box))
        for own, genus in zip(effects, self.line_genus, strict=True):
            yield self._chances(own + eta[genus], lost)

    def _chances(self, eta: SingleArray, lost: NDArray[np.intp]) -> tuple[SingleArray, SingleArray]:
        """Return the chances, (draws,) each, with those of a box lost whole in the draws in which it is."""
        healthy, dead = box_chances(eta, self._single.parameters.delta, self._single.parameters.h0)
        healthy[lost], dead[lost] = CONSTANTS.lost_healthy, CONSTANTS.lost_dead
        return healthy, dead

    def late_loss_chance(self, exposure: Exposure, box: int = 0) -> SingleArray:
        """Return the chance of loss within two weeks among the plants of each genus in one box, (genera, draws)."""
        effect: SingleArray = self.numbers.late_loss(box).astype(np.float32)
        return self._single.late_loss.chance_in_box(exposure.chill_dose_days, effect)

    def shared_predictors(self, plan: RoutePlan, exposure: Exposure) -> SingleArray:
        """Return eta of each line but for its line effect, of a route whose boxes share one fate, (lines, draws)."""
        effects = self.route_effects(plan.lane.service.service, plan.quarter) - self.line_effects
        eta = linear_predictor(self.numbers.shipment(0), exposure.equivalent_days, self._single)
        shared: SingleArray = effects + eta[list(self.line_genus)]
        return shared

    def chance_by_box(self, plan: RoutePlan, journeys: Sequence[Journeys], line: int) -> SingleArray:
        """Return the chance that a plant of a line is healthy at unboxing in each box, (draws, boxes)."""
        effects, genus = self.route_effects(plan.lane.service.service, plan.quarter)[line], self.line_genus[line]
        chances = []
        for box, (_, exposure) in enumerate(journeys):
            eta = linear_predictor(self.numbers.shipment(box) + effects, exposure.equivalent_days[genus], self._single)
            chances.append(self._chances(eta, np.flatnonzero(self.numbers.lost(box)))[0])
        return np.stack(chances, axis=1)

    def outcomes(self, plan: RoutePlan, journeys: Sequence[Journeys]) -> RouteDraws:
        """Return the joint counts of a route from its journeys."""
        n_lines, n = len(self.lines), self.n_draws
        counts = {name: np.zeros((n_lines, n), dtype=np.int32) for name in ("healthy", "dead", "two_weeks")}
        chance = np.zeros((n_lines, n), dtype=np.float32)
        for box, (_, exposure) in enumerate(journeys):
            stays = 1.0 - self.late_loss_chance(exposure, box)
            for i, (healthy, dead) in enumerate(self.plant_chances(plan, exposure, box)):
                quantity = self.lines[i].quantity
                first, last = _share_of_box(quantity, box, plan.n_fates)
                if first == last:
                    continue
                two_weeks = healthy * stays[self.line_genus[i]]
                for name, count in self._count(i, first, last, healthy, dead, two_weeks).items():
                    counts[name][i] += count
                chance[i] += healthy * ((last - first) / quantity)
        sent = np.array([[line.quantity] for line in self.lines], dtype=np.int32)
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
        self, i: int, first: int, last: int, healthy: SingleArray, dead: SingleArray, two_weeks: SingleArray
    ) -> Mapping[str, NDArray[np.integer]]:
        """Draw the counts of a line in one box: plants are ordered outcomes of one uniform each."""
        if self.lines[i].quantity <= MOST_SINGLE_PLANTS:
            plants = self._single_plants(i)[first:last]
            return {
                "healthy": _below(plants, healthy),
                "two_weeks": _below(plants, two_weeks),
                "dead": np.uint8(last - first) - _below(plants, 1.0 - dead),
            }
        rng, n = self.numbers.rng(f"plants {i} from {first}"), last - first
        kept = rng.binomial(n, healthy)
        still = rng.binomial(kept, np.divide(two_weeks, healthy, out=np.zeros_like(healthy), where=healthy > 0))
        of_rest = np.divide(dead, 1.0 - healthy, out=np.zeros_like(dead), where=healthy < 1)
        return {"healthy": kept, "two_weeks": still, "dead": rng.binomial(n - kept, np.clip(of_rest, 0.0, 1.0))}


def _below(plants: NDArray[np.uint16], chance: SingleArray) -> NDArray[np.uint8]:
    """Return how many plants, (plants, draws), have a uniform below a chance; exact to 1 in 65,536."""
    level = np.rint(chance * LEVELS)
    limit = np.minimum(level, LEVELS - 1).astype(np.uint16)
    counted: NDArray[np.uint8] = (plants < limit).view(np.uint8).sum(axis=0, dtype=np.uint8)
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
    logged: bool = False,
) -> tuple[BatchSimulation, WeatherDraws]:
    """Return the draws that all routes and the ship dates of `span_days` after the first share, as many as asked.

    `logged` whether journeys tell what a logger in the box would.
    """
    draws = batch.draws if draws is None else draws
    weather = WeatherDraws(
        engine.reference,
        first_date,
        span_days + WEATHER_DAYS,
        draws=draws,
        seed=batch.seed,
        forecast=prepared.forecast,
    )
    simulation = BatchSimulation(engine, prepared.lines, draws=draws, seed=batch.seed, logged=logged)
    return simulation, weather
