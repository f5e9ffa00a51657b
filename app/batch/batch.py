"""A batch request made ready: places, genera, routes and money, with every assumed value listed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from app.batch.assumptions import costs_left_out, costs_of, days_not_worked, unsaid
from app.batch.cautions import caution
from app.batch.genera import resolve_genus
from app.batch.lanes import Lane, UsualTime
from app.batch.places import resolve_place
from app.batch.plans import BatchLine, RoutePlan
from app.batch.senders import drift_quarter, seller_level
from app.problems import FieldError, InvalidInput, json_pointer
from app.schemas import Assumed, Batch, Caution, NotCounted, Route
from app.serving import Engine, LearnedTimes
from model.decision import PlantLine, Recourse, Waybill
from model.exposure import DEFAULT_WAIT_H, Box, Forecast, conductance_w_per_k
from model.plant import Plant
from model.reference import Reference
from model.transit import SolvedTransit, TransitQuantiles

MOST_BOXES = 100
# Charged where the route has the leg; the leg of an airport is left by whoever collects.
COLLECTION = "collection"
PAPERS = {
    "import_permit": "import permit",
    "phytosanitary_certificate": "phytosanitary certificate",
    "invoice": "invoice",
    "waybill_copy": "waybill copy",
}


@dataclass(frozen=True, slots=True, eq=False)
class PreparedRoute:
    """A route with its plan for the simulation, the asked route and how its transit time was solved.

    `usual` is the time in transit that was taken where the buyer gave none; `apart` says how its boxes travel, be they
    several or not.
    """

    asked: Route
    plan: RoutePlan
    solved: SolvedTransit
    usual: UsualTime | None
    apart: bool
    capacity: int
    costs: Mapping[str, float]

    @property
    def late_days(self) -> float:
        """The days that 9 of 10 boxes take at most, but for papers and days without work."""
        times = self.usual.quantiles if self.usual else self.asked.transit_days
        assert times is not None  # noqa: S101 - taken or given
        p90: float = times.p90
        return p90

    def by_table(self) -> "PreparedRoute":
        """Return the route with the table's time in transit, where the buyer gave none."""
        if self.usual is None:
            return self
        usual = self.plan.lane.usual(LearnedTimes(), self.asked.recent_days or ())
        solved = self.plan.lane.solve(usual.quantiles, usual.delay)
        return replace(self, plan=replace(self.plan, transit=solved.transit), solved=solved, usual=usual)

    def assumed(self, position: int, n_plants: int) -> list[Assumed]:
        """Return the values that the asked route left out; its position is that in the request."""
        values: list[tuple[tuple[str, ...], float, str]] = []
        if self.asked.boxes is None:
            values.append((("boxes",), self.plan.n_boxes, f"{n_plants:,} plants at {self.capacity:,} a box"))
        if self.usual is not None:
            quantiles = self.usual.quantiles
            values += [
                (("transit_days", name), getattr(quantiles, name), self.usual.why) for name in ("p10", "p50", "p90")
            ]
        return [
            Assumed(pointer=json_pointer(("routes", position, *path)), value=value, why=why)
            for path, value, why in values
        ]

    def not_counted(self, position: int) -> list[NotCounted]:
        """Return the charges of the route that the request left out: fetching counts where a box is fetched."""
        charges = ["handling"]
        if any(leg.leg == COLLECTION for leg in self.plan.lane.legs):
            charges.append(COLLECTION)
        return [
            NotCounted(pointer=json_pointer(("routes", position, name)), text=name, usual=None)
            for name in charges
            if getattr(self.asked, name) is None
        ]

    def waybill(
        self, batch: Batch, quantities: Sequence[int], n_boxes: int, *, waiting: float = 0.0, days_waited: int = 0
    ) -> Waybill:
        """Return what the route charges for these quantities of the lines in so many boxes."""
        costs = batch.costs
        return Waybill(
            currency=batch.currency,
            lines=tuple(PlantLine(n, line.unit_cost) for n, line in zip(quantities, batch.lines, strict=True)),
            freight=self.asked.freight,
            boxes=n_boxes,
            waybills=n_boxes if self.apart else 1,
            handling=self.asked.handling or 0.0,
            collection=self.asked.collection or 0.0,
            dutiable=costs.dutiable or "plants",
            cost_of_waiting=waiting,
            days_waited=days_waited,
            **self.costs,
        )


@dataclass(frozen=True, slots=True, eq=False)
class PreparedBatch:
    """Everything that comparing, holding and sizing an order have in common."""

    lines: tuple[BatchLine, ...]
    routes: tuple[PreparedRoute, ...]
    recourse: Recourse
    forecast: Mapping[str, Mapping[date, Forecast]]
    assumed_of_all: tuple[Assumed, ...]
    left_out_of_all: tuple[NotCounted, ...]
    cautions: tuple[Caution, ...]

    @property
    def assumed(self) -> list[Assumed]:
        """Every value that the request left out: those of the batch, then those of each route."""
        n_plants = sum(line.quantity for line in self.lines)
        routes = [said for i, route in enumerate(self.routes) for said in route.assumed(i, n_plants)]
        return [*self.assumed_of_all, *routes]

    @property
    def not_counted(self) -> list[NotCounted]:
        """Every cost that the request left out: those of the batch, then those of each route."""
        routes = [one for i, route in enumerate(self.routes) for one in route.not_counted(i)]
        return [*self.left_out_of_all, *routes]

    def costs_missing(self, position: int) -> list[str]:
        """Return what the landed cost of a route leaves out, since it was not given, each in a word or two."""
        return [one.text for one in (*self.left_out_of_all, *self.routes[position].not_counted(position))]

    def by_table(self) -> "PreparedBatch":
        """Return the batch without what own boxes told of times in transit: all that depends on a model in it."""
        return replace(self, routes=tuple(route.by_table() for route in self.routes))


def box_of(packing: "PackedBox", reference: Reference) -> Box:
    """Return the thermal box of a packing."""
    row = reference.containers[packing.container]
    return Box(
        ua_w_per_k=conductance_w_per_k(row.length_m, row.width_m, row.height_m, row.wall_m, row.conductivity_w_per_mk),
        heat_capacity_j_per_k=row.heat_capacity_j_per_k,
        heat_pack_hours=packing.heat_pack_hours,
        heat_packs=packing.heat_packs,
        cold_packs=packing.cold_packs,
    )


@dataclass(frozen=True, slots=True)
class PackedBox:
    """Container and packs of one box."""

    container: str
    heat_pack_hours: float
    heat_packs: int
    cold_packs: int


def prepare(
    batch: Batch,
    engine: Engine,
    ship_date: date | None = None,
    from_record: Sequence[Assumed] = (),
    *,
    last_date: date | None = None,
) -> PreparedBatch:
    """Resolve a request against the reference tables; without a ship date the latest record of its seller counts.

    `from_record` is what was filled in from the record of its seller, to be listed among what was assumed; `last_date`
    the last day on which the batch may leave, the ship date unless given. Without any, no holidays are listed.

    Raises
    ------
    InvalidInput
        For a place code that is not known.
    """
    reference = engine.reference
    origin = resolve_place(batch.origin, "/origin", reference)
    destination = resolve_place(batch.destination, "/destination", reference)
    cautions = [*origin.cautions, *destination.cautions]
    lines = []
    for line in batch.lines:
        genus, said = resolve_genus(line.genus, reference)
        cautions += [c for c in said if c not in cautions]
        plant = Plant(
            genus,
            cultivar=line.cultivar,
            container=batch.packing.container,
            roots=batch.packing.roots,
            seller_kind=batch.seller_kind,
            seller=seller_level(batch.seller),
        )
        lines.append(BatchLine(plant, line.quantity))
    costs = costs_of(batch)
    assumed = [*from_record, *unsaid(batch)]
    packing = batch.packing
    capacity = packing.capacity or reference.containers[packing.container].capacity
    if packing.capacity is None:
        assumed.append(Assumed(pointer="/packing/capacity", value=capacity, why="usual for the container"))
    box = box_of(
        PackedBox(packing.container, packing.heat_pack_hours, packing.heat_packs, packing.cold_packs), reference
    )
    total = sum(line.quantity for line in batch.lines)
    routes = []
    for route in batch.routes:
        lane = Lane.between(origin.place, destination.place, route.service, reference)
        n_boxes = route.boxes or -(-total // capacity)
        if n_boxes > MOST_BOXES:
            least = -(-total // MOST_BOXES)
            message = f"must be at least {least:,} for {total:,} plants: at most {MOST_BOXES} boxes, or ask in parts"
            raise InvalidInput([FieldError("/packing/capacity", message)])
        given, usual = route.transit_days, None
        if given is None:
            usual = lane.usual(engine.times, route.recent_days or ())
            solved = lane.solve(usual.quantiles, usual.delay)
        else:
            solved = lane.solve(TransitQuantiles(given.p10, given.p50, given.p90))
        apart = route.travel == "apart"
        plan = RoutePlan(
            lane=lane,
            transit=solved.transit,
            box=box,
            n_boxes=n_boxes,
            apart=apart and n_boxes > 1,
            papers_days=_papers_share(batch) * lane.service.papers_delay_days,
            calendar=lane.calendar(batch.closed_dates, batch.open_dates, public_holidays=batch.public_holidays),
            quarter=drift_quarter(batch.seller, ship_date),
            wait_h=DEFAULT_WAIT_H if packing.wait_hours is None else packing.wait_hours,
        )
        routes.append(
            PreparedRoute(
                asked=route, plan=plan, solved=solved, usual=usual, apart=apart, capacity=capacity, costs=costs
            )
        )
    longest = max(route.late_days for route in routes)
    if ship_date is not None:
        assumed += days_not_worked([route.plan for route in routes], ship_date, last_date or ship_date, longest)
    if unknown := [words for name, words in PAPERS.items() if getattr(batch.paperwork, name) is None]:
        cautions.append(caution("papers_assumed", papers=", ".join(unknown)))
    return PreparedBatch(
        lines=tuple(lines),
        routes=tuple(routes),
        recourse=Recourse(batch.recourse.kind, batch.recourse.chance),
        forecast={
            place: {day.date: Forecast(day.min_c, day.max_c) for day in days} for place, days in batch.forecast.items()
        },
        assumed_of_all=tuple(assumed),
        left_out_of_all=tuple(costs_left_out(batch, reference)),
        cautions=tuple(cautions),
    )


def missing_papers(batch: Batch) -> list[str]:
    """Return the papers said not to be in hand."""
    return [words for name, words in PAPERS.items() if getattr(batch.paperwork, name) is False]


def _papers_share(batch: Batch) -> float:
    """Return how many usual delays the missing papers add: one for each."""
    return float(len(missing_papers(batch)))
