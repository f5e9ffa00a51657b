"""What could be known before deciding, as the draws hold it: for each thing what it is on each route, draw by draw."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from app.comparing.simulated import SimulatedBatch, SimulatedRoute
from app.schemas import WorthKnowingRequest
from model.decision import counted_noise_sd
from model.plant import Plant
from model.predict import with_effects
from model.transit import told_share, unknown_lane_part

Array = NDArray[np.float64]

KnownCode = Literal["seller", "genus", "transit_time", "temperature", "box_luck", "plants_in_general"]
LearnedCode = Literal["ask_last_boxes", "more_boxes"]


@dataclass(frozen=True, slots=True, eq=False)
class Knowable:
    """Something that could be known, (draws, inputs) for each route; routes may share one array. `genus` in words."""

    code: KnownCode | LearnedCode
    inputs: Sequence[Array]
    genus: str | None = None


def knowable(batch: SimulatedBatch, routes: Sequence[SimulatedRoute]) -> list[Knowable]:
    """Return what an order hinges on: the seller, each genus, the box's time, temperature and luck, and the rest."""
    return [
        Knowable("seller", [_seller(batch, routes[0])] * len(routes)),
        *(
            Knowable("genus", [_genus(batch, position)] * len(routes), name)
            for position, name in enumerate(genus_names(batch))
        ),
        Knowable("transit_time", [_mean_of([j.days for j in s.journeys])[:, None] for s in routes]),
        Knowable("temperature", [_temperature(s) for s in routes]),
        Knowable("box_luck", _shared_by_fates([_luck(batch, n) for n in _fates(routes)], routes)),
        Knowable("plants_in_general", [_plants_in_general(batch, s) for s in routes]),
    ]


def learnable(
    batch: SimulatedBatch, request: WorthKnowingRequest, routes: Sequence[SimulatedRoute], advised: SimulatedRoute
) -> list[Knowable]:
    """Return what asking about last boxes, and more boxes of each genus, would tell: drawn summaries beside the draws.

    Plants count in the boxes to come as they do on the `advised` route.
    """
    asked = [_told_of_days(batch, s, request.asked_boxes) for s in routes]
    learned = [Knowable("ask_last_boxes", asked)] if any(own.shape[1] for own in asked) else []
    for position, name in enumerate(genus_names(batch)):
        told = _told_of_genus(batch, position, advised, request.more_boxes)
        learned.append(Knowable("more_boxes", [told] * len(routes), name))
    return learned


def genus_names(batch: SimulatedBatch) -> list[str]:
    """Return the genera of a batch as they are told, in the order of the simulation's; unknown ones are one."""
    names: dict[int, str] = {}
    lines = zip(batch.simulation.lines, batch.simulation.line_genus, batch.request.lines, strict=True)
    for line, position, asked in lines:
        names.setdefault(position, line.plant.genus.genus if line.plant.genus else asked.genus)
    return [names[position] for position in sorted(names)]


def _lines_of(batch: SimulatedBatch, genus: int) -> list[int]:
    return [i for i, own in enumerate(batch.simulation.line_genus) if own == genus]


def _value(batch: SimulatedBatch, lines: Sequence[int]) -> Array:
    """Return what each line is of the lines' value at sale; equal parts where none has any."""
    value = np.array([batch.request.lines[i].quantity * batch.request.lines[i].sale_value for i in lines])
    return value / value.sum() if value.sum() > 0 else np.full(len(lines), 1.0 / len(lines))


def _effect(batch: SimulatedBatch, plant: Plant, kinds: Sequence[str]) -> Array:
    """Return the sum of a plant's effects of some kinds, (draws,)."""
    posterior = batch.simulation.posterior
    return with_effects(np.zeros(posterior.n_draws), kinds, plant, posterior)


def _seller(batch: SimulatedBatch, s: SimulatedRoute) -> Array:
    """Return the seller's effect, its kind and its drift in this quarter included, (draws, 1)."""
    plant = batch.simulation.lines[0].plant
    drift = batch.simulation.posterior.drift(plant.seller_level, s.route.plan.quarter)
    return (_effect(batch, plant, ("seller_kind", "seller")) + drift)[:, None]


def _genus_effect(batch: SimulatedBatch, genus: int) -> Array:
    """Return the effect of a genus, its cultivars by their value in the batch, (draws,)."""
    lines = _lines_of(batch, genus)
    effect = np.zeros(batch.simulation.n_draws)
    for weight, i in zip(_value(batch, lines), lines, strict=True):
        plant = batch.simulation.lines[i].plant
        effect += weight * _effect(batch, plant, ("group", "genus", "cultivar"))
    return effect


def _genus(batch: SimulatedBatch, genus: int) -> Array:
    """Return the effect of a genus, its chilling threshold and how it stands cold, (draws, 3)."""
    clock, parameters = batch.simulation.clock, batch.simulation.posterior.parameters
    chill_class = np.log(clock.chill_per_day_c[genus] / parameters.chill_rate)
    return np.stack([_genus_effect(batch, genus), clock.threshold_c[genus], chill_class], axis=1)


def _mean_of(of_fates: Sequence[Array]) -> Array:
    mean: Array = np.mean(of_fates, axis=0)
    return mean


def _temperature(s: SimulatedRoute) -> Array:
    """Return what a logger would tell: mean and coldest hour in the box, (draws, 2)."""
    loggers = [own for journey in s.journeys if (own := journey.exposure.logger) is not None]
    return np.stack([_mean_of(own) for own in zip(*loggers, strict=True)], axis=1)


def _fates(routes: Sequence[SimulatedRoute]) -> list[int]:
    return sorted({len(s.journeys) for s in routes})


def _shared_by_fates(found: Sequence[Array], routes: Sequence[SimulatedRoute]) -> list[Array]:
    by_fates = dict(zip(_fates(routes), found, strict=True))
    return [by_fates[len(s.journeys)] for s in routes]


def _luck(batch: SimulatedBatch, n_fates: int) -> Array:
    """Return the effects of the boxes, the share lost whole, and those of the lines by their value, (draws, 3)."""
    simulation = batch.simulation
    shipment = _mean_of([simulation.numbers.shipment(box) for box in range(n_fates)])
    lost = _mean_of([simulation.numbers.lost(box).astype(np.float64) for box in range(n_fates)])
    lines = _value(batch, range(len(simulation.lines))) @ simulation.line_effects
    return np.stack([shipment, lost, lines], axis=1)


def _plants_in_general(batch: SimulatedBatch, s: SimulatedRoute) -> Array:
    """Return what all boxes packed and sent so have in common, (draws, 7)."""
    posterior = batch.simulation.posterior
    p, service = posterior.parameters, s.route.plan.lane.service.service
    plant = batch.simulation.lines[0].plant
    level = p.alpha + _effect(batch, plant, ("container", "roots")) + posterior.effect("service", service)
    return np.stack(
        [level, p.kappa, p.delta, p.h0, p.log_q10, np.log(p.chill_rate), posterior.late_loss.intercept], axis=1
    )


def _told_of_days(batch: SimulatedBatch, s: SimulatedRoute, boxes: int) -> Array:
    """Return what the days of so many last boxes of a route's lane would tell, (draws, 1).

    A normal score that is correlated with that of the box's days (delays apart) as the mean of their log days would be.
    (draws, 0) where the buyer has given the times: they have been asked for already.
    """
    simulation = batch.simulation
    if s.route.usual is None:
        return np.empty((simulation.n_draws, 0))
    lane = s.route.plan.lane
    places = lane.places["origin"].iata, lane.places["destination"].iata
    known = batch.engine.times.of(lane.service.service, *places)
    counted = {"lane_boxes" if known.key.origin else "service_boxes": known.n_arrived} if known else {}
    share = told_share(unknown_lane_part(**counted), boxes)
    scores = _mean_of([ndtri(simulation.numbers.journey(box)[0]) for box in range(len(s.journeys))])
    told: Array = np.sqrt(share) * scores + np.sqrt(1.0 - share) * simulation.numbers.noise("asked")
    return told[:, None]


def _told_of_genus(batch: SimulatedBatch, genus: int, advised: SimulatedRoute, boxes: int) -> Array:
    """Return what the counts of so many more boxes would tell of a genus, (draws, 1): its effect and their noise."""
    simulation, lines = batch.simulation, _lines_of(batch, genus)
    quantities = np.array([simulation.lines[i].quantity for i in lines])
    chance = float(advised.drawn.healthy_chance[:, lines].mean(axis=0) @ quantities / quantities.sum())
    scales = simulation.posterior.parameters.scales
    noise_sd = counted_noise_sd(
        plants=float(quantities.sum()) / advised.route.plan.n_boxes,
        healthy_chance=chance,
        shipment_sd=scales["shipment"],
        line_sd=scales["line"],
        boxes=boxes,
    )
    if not np.isfinite(noise_sd):
        return np.empty((simulation.n_draws, 0))
    told = _genus_effect(batch, genus) + noise_sd * simulation.numbers.noise(f"more boxes {genus}")
    return told[:, None]
