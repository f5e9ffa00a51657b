"""Invented importers whose boxes travel through air that the model does not know, with loggers that see it.

The lane's legs, their temperatures and their shelter, the weather of its places and the walls of the box are all
drawn about the tables, anew for each box, and where an importer's lanes stand apart, some of it once for all. The
clock that runs in a plant is neither the model's in its warm part nor in its cold one. What is recorded of a box is
what a ledger would hold.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from app.batch import Lane, PackedBox, WeatherDraws, box_of, resolve_place
from app.recorded.recorded_boxes import recorded_lines
from app.store.arrived import ArrivedBoxes, LineColumns, LoggerColumns, ShipmentColumns, coded
from model.exposure import leg_ends
from model.exposure.damage import degrees_below, extreme_rate
from model.exposure.journey import follow_inside
from model.fit import Lines
from model.reference import Genus, Leg, Reference

Array = NDArray[np.float64]

FIRST_DAY, KNOWN_DAYS, NEW_DAYS = date(2024, 10, 1), 730, 365
ORIGINS, DESTINATIONS = ("SRG", "SJO", "BKK"), ("GLA", "FRA", "JFK")
SERVICES, SERVICE_SHARES = ("courier", "air_cargo", "post"), (0.5, 0.3, 0.2)
CONTAINERS, CONTAINER_SHARES = ("foam_box", "lined_carton", "carton"), (0.6, 0.2, 0.2)
ROOTS, ROOTS_SHARES = ("damp_wrap", "damp_paper"), (0.8, 0.2)
COLD_MONTHS, PACK_SHARE = (11, 12, 1, 2, 3), 0.7
# Many, so that chance in what is scored does not hide what knowledge is worth.
N_NEW_BOXES = 100
N_GENERA, N_SELLERS, LINES_A_BOX, PLANTS_A_LINE = 10, 4, 3, 12
DAYS_SD_LOG = 0.4

LANES = ("as tabulated", "apart")
"""Whether an importer's lanes are the tables' on average over its boxes, or always warmer or colder than they say."""

# Once for an importer whose lanes stand apart: places warmer or colder than their normals, legs than their table.
PLACE_SD_C, LEG_SD_C, LEG_SHELTER_SD_LOGIT = 1.0, 2.0, 0.5
# Anew for each box: the same of its legs, the shares of its legs' time, its walls, its weather's spread.
BOX_LEG_SD_C, BOX_SHARE_SD_LOG, BOX_UA_SD_LOG, ANOMALY_FACTOR = 3.0, 0.5, 0.25, 1.25
# A plant's own clock: Arrhenius's law in place of a constant Q10; chilling that grows faster than its degrees.
KELVIN = 273.15
CHILL_POWER, CHILL_PIVOT_C = 1.5, 5.0
THRESHOLD_SD_C, SENSITIVITY_SD_LOG = 2.0, 0.5

KNOWLEDGE = ("nothing", "mean", "extremes", "trace")
"""What a logger may leave behind, each more than the one before; extremes have the mean beside them."""


@dataclass(frozen=True, slots=True, eq=False)
class Journey:
    """One box: its days, and the air in it hour by hour with the part of each hour that counts, (hours,) each."""

    days: float
    inside_c: Array
    hours: Array

    @property
    def mean_c(self) -> float:
        """The mean of its air over its time, °C."""
        return float((self.inside_c * self.hours).sum() / self.hours.sum())


@dataclass(frozen=True, slots=True, eq=False)
class Sent:
    """What an importer sends: shipments and lines as a ledger has them without counts, and the journeys."""

    boxes: ArrivedBoxes
    journeys: Sequence[Journey]
    known: NDArray[np.bool_]  # (lines,)

    def lines(self, knowledge: str, reference: Reference) -> Lines:
        """Return the table of all lines as the fit reads it, where loggers left so much."""
        shipments, trace = self.boxes.shipments, LoggerColumns(*_no_readings())
        if knowledge == "trace":
            trace = self._readings()
        elif knowledge != "nothing":
            shipments = replace(shipments, inside_temp_c=np.array([round(j.mean_c, 1) for j in self.journeys]))
        if knowledge == "extremes":
            shipments = replace(
                shipments,
                inside_min_c=np.array([round(float(j.inside_c.min()), 1) for j in self.journeys]),
                inside_max_c=np.array([round(float(j.inside_c.max()), 1) for j in self.journeys]),
            )
        table = recorded_lines(ArrivedBoxes(shipments, self.boxes.lines), trace, reference).lines
        table["quarter"] -= table["quarter"].min()
        return table

    def _readings(self) -> LoggerColumns:
        number = [np.full(len(j.hours), n) for n, j in enumerate(self.journeys)]
        at = [
            departed + np.arange(len(j.hours)) * np.timedelta64(1, "h")
            for departed, j in zip(self.boxes.shipments.departed_at, self.journeys, strict=True)
        ]
        readings = [np.round(j.inside_c, 1) for j in self.journeys]
        return LoggerColumns(np.concatenate(number), np.concatenate(at), np.concatenate(readings))


def _no_readings() -> tuple[NDArray[np.int64], NDArray[np.datetime64], Array]:
    return np.empty(0, dtype=np.int64), np.empty(0, dtype="datetime64[s]"), np.empty(0)


class _World:
    """How an importer's lanes differ from the tables."""

    def __init__(self, reference: Reference, lanes: str, rng: np.random.Generator) -> None:
        self._reference, self._rng = reference, rng
        self._apart = float(lanes == "apart")
        self._places: dict[str, float] = {}
        self._legs: dict[tuple[str, str], tuple[float, float]] = {}

    def journey(self, lane: Lane, packed: PackedBox, ship_date: date, days: float) -> Journey:
        """Draw the journey of one box."""
        rng = self._rng
        legs = self._drawn_legs(lane)
        weather = WeatherDraws(self._reference, ship_date, int(days) + 2, draws=1, seed=int(rng.integers(2**31)))
        ends = leg_ends(legs, np.array([days]), added_days={})
        streets = weather.streets(lane, lane.closing(ship_date), int(np.ceil(ends[-1, 0])) + 1)
        streets = {
            role: replace(air, mean_c=air.mean_c + self._warmer(lane, role), anomaly_c=ANOMALY_FACTOR * air.anomaly_c)
            for role, air in streets.items()
        }
        box = box_of(packed, self._reference)
        box = replace(box, ua_w_per_k=box.ua_w_per_k * np.exp(BOX_UA_SD_LOG * rng.standard_normal()))
        inside, hours = follow_inside(legs, ends, streets, box)
        counted = hours[:, 0] > 0
        return Journey(days, inside[counted, 0], hours[counted, 0])

    def _warmer(self, lane: Lane, role: str) -> float:
        new = self._apart * PLACE_SD_C * float(self._rng.standard_normal())
        return self._places.setdefault(lane.places[role].iata, new)

    def _drawn_legs(self, lane: Lane) -> list[Leg]:
        rng = self._rng
        drawn = []
        for leg in lane.legs:
            key = (lane.service.service, leg.leg)
            new = (
                self._apart * LEG_SD_C * float(rng.standard_normal()),
                self._apart * LEG_SHELTER_SD_LOGIT * float(rng.standard_normal()),
            )
            warmer, logit = self._legs.setdefault(key, new)
            hold = None if leg.hold_c is None else leg.hold_c + warmer + BOX_LEG_SD_C * float(rng.standard_normal())
            shelter = leg.shelter
            if 0.0 < shelter < 1.0:
                shelter = float(1.0 / (1.0 + np.exp(-np.log(shelter / (1.0 - shelter)) - logit)))
            share = leg.share * float(np.exp(BOX_SHARE_SD_LOG * rng.standard_normal()))
            drawn.append(replace(leg, hold_c=hold, shelter=shelter, share=share))
        total = sum(leg.share for leg in drawn)
        return [replace(leg, share=leg.share / total) for leg in drawn]


def draw_sent(reference: Reference, n_boxes: int, *, lanes: str, rng: np.random.Generator) -> Sent:
    """Draw what is sent in `n_boxes` known boxes of two years and `N_NEW_BOXES` of the year after, by `LANES`."""
    n = n_boxes + N_NEW_BOXES
    days_on = np.concatenate(
        [rng.integers(KNOWN_DAYS, size=n_boxes), KNOWN_DAYS + rng.integers(NEW_DAYS, size=N_NEW_BOXES)]
    )
    sellers = [f"seller {s}" for s in rng.integers(N_SELLERS, size=n)]
    homes = {f"seller {s}": ORIGINS[s % len(ORIGINS)] for s in range(N_SELLERS)}
    kinds = {f"seller {s}": sorted(reference.seller_kinds)[s % len(reference.seller_kinds)] for s in range(N_SELLERS)}
    destination = DESTINATIONS[rng.integers(len(DESTINATIONS))]
    service = rng.choice(SERVICES, n, p=SERVICE_SHARES)
    container = rng.choice(CONTAINERS, n, p=CONTAINER_SHARES)
    roots = rng.choice(ROOTS, n, p=ROOTS_SHARES)
    world = _World(reference, lanes, rng)
    journeys, departed, opened, hours = [], [], [], []
    for i in range(n):
        ship_date = FIRST_DAY + timedelta(days=int(days_on[i]))
        packs = int(ship_date.month in COLD_MONTHS and rng.random() < PACK_SHARE)
        packed = PackedBox(str(container[i]), 72.0 * packs, packs, 0)
        ends = [resolve_place(code, "", reference).place for code in (homes[sellers[i]], destination)]
        lane = Lane.between(ends[0], ends[1], str(service[i]), reference)
        days = float(lane.usual_quantiles().p50 * np.exp(DAYS_SD_LOG * rng.standard_normal()))
        journeys.append(world.journey(lane, packed, ship_date, days))
        departed.append(lane.closing(ship_date))
        opened.append(departed[-1] + timedelta(days=days))
        hours.append(72.0 * packs)
    unmeasured, nothing = np.full(n, np.nan), np.zeros(n, dtype=np.int64)
    shipments = ShipmentColumns(
        number=np.arange(n),
        state=coded(["arrived"] * n),
        seller=coded(sellers),
        seller_kind=coded([kinds[name] for name in sellers]),
        service=coded([str(name) for name in service]),
        origin=coded([homes[name] for name in sellers]),
        destination=coded([destination] * n),
        container=coded([str(name) for name in container]),
        roots=coded([str(name) for name in roots]),
        heat_pack_hours=np.array(hours),
        heat_packs=(np.array(hours) > 0).astype(np.int64),
        cold_packs=nothing,
        ship_date=np.array([moment.date() for moment in departed], dtype="datetime64[D]"),
        arrival_date=np.array([moment.date() for moment in opened], dtype="datetime64[D]"),
        recheck_date=np.full(n, np.datetime64("NaT"), dtype="datetime64[D]"),
        departed_at=_moments(departed),
        opened_at=_moments(opened),
        inside_temp_c=unmeasured,
        inside_min_c=unmeasured,
        inside_max_c=unmeasured,
        arrived_revision=nothing,
        corrected_revision=nothing,
    )
    box = np.repeat(np.arange(n), LINES_A_BOX)
    genera = rng.choice(sorted(reference.genera), N_GENERA, replace=False)
    popularity = rng.dirichlet(np.ones(N_GENERA))
    plants = [str(genus) for genus in rng.choice(genera, len(box), p=popularity)]
    uncounted = np.full(len(box), -1, dtype=np.int64)
    lines = LineColumns(
        shipment=box,
        position=np.tile(np.arange(LINES_A_BOX), n),
        genus=coded(plants),
        cultivar=coded([None] * len(box)),
        sent=1 + rng.poisson(PLANTS_A_LINE - 1, len(box)),
        healthy=uncounted,
        damaged=uncounted,
        dead=uncounted,
        recheck_healthy=uncounted,
        recheck_damaged=uncounted,
        recheck_dead=uncounted,
        recheck_gone=uncounted,
    )
    return Sent(ArrivedBoxes(shipments, lines), journeys, box < n_boxes)


def _moments(moments: Sequence[datetime]) -> NDArray[np.datetime64]:
    return np.array([moment.astimezone(UTC).replace(tzinfo=None) for moment in moments], dtype="datetime64[s]")


def true_log_days(
    sent: Sent, reference: Reference, log_q10: float, chill_rate: float, *, rng: np.random.Generator
) -> Array:
    """Return the log equivalent days that each line went through, (lines,), by clocks that are not the model's."""
    lines = sent.boxes.lines
    names = [lines.genus.levels[code] for code in lines.genus.codes]
    clocks = {name: _own_clock(reference.genera[name], reference, rng=rng) for name in sorted(set(names))}
    days = np.empty(len(names))
    for i, (box, name) in enumerate(zip(lines.shipment, names, strict=True)):
        journey = sent.journeys[box]
        rate = _true_rate(journey.inside_c, *clocks[name], log_q10, chill_rate)
        days[i] = (rate * journey.hours).sum() / 24.0
    return np.log(days)


def _own_clock(genus: Genus, reference: Reference, *, rng: np.random.Generator) -> tuple[float, float]:
    """Draw the threshold and the sensitivity that a genus really has."""
    sensitivity = reference.chill_classes[genus.chill_class].sensitivity
    threshold_c = genus.chill_threshold_c + THRESHOLD_SD_C * float(rng.standard_normal())
    return threshold_c, sensitivity * float(np.exp(SENSITIVITY_SD_LOG * rng.standard_normal()))


def _true_rate(inside_c: Array, threshold_c: float, sensitivity: float, log_q10: float, chill_rate: float) -> Array:
    """Return the rate by Arrhenius's law with the given Q10 between 15 and 25 °C, and chilling of a power above 1."""
    energy = log_q10 / (1.0 / (KELVIN + 15.0) - 1.0 / (KELVIN + 25.0))
    warm = np.exp(energy * (1.0 / (KELVIN + 20.0) - 1.0 / (KELVIN + np.maximum(inside_c, threshold_c))))
    below = degrees_below(inside_c, np.array(threshold_c))
    chilled = chill_rate * sensitivity * CHILL_PIVOT_C * (below / CHILL_PIVOT_C) ** CHILL_POWER
    rate: Array = warm + chilled + extreme_rate(inside_c)
    return rate
