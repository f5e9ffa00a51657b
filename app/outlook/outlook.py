"""What to expect of a box in transit, given the time it has taken and what tracking says."""

import json
import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray
from pydantic import TypeAdapter, ValidationError

from app.batch import prepare, stored_seller, with_seller
from app.boxes import expected_by, find_whole_shipment, late_since, stored_plan
from app.comparing import usual_layover
from app.outlook.cautions import departure_caution, outlook_cautions
from app.outlook.followed_box import FollowedBox
from app.outlook.helps import helps_now
from app.outlook.open_journey import KnownJourney, Note, known_journey
from app.problems import Conflict, FieldError, InvalidInput
from app.schemas import (
    MOMENT_WORDS,
    ArrivalChance,
    ChanceInterval,
    CompareRequest,
    LineOutlook,
    MeanQuantiles,
    Moment,
    OutlookAnswer,
)
from app.serving import Engine
from app.store import Database
from model.reference import CONSTANTS, HIGH, LOW, QUANTILES

Array = NDArray[np.float64]

MOST_ROWS = 30
IN_TRANSIT = "in_transit"
_WHY_NOT = {
    "planned": "The box has not left: record its departure first",
    "arrived": "The box has arrived: its counts are in the shipment",
    "lost": "The box is given up as lost: news of it put it in transit again",
}
_MOMENT: TypeAdapter[datetime] = TypeAdapter(Moment)


@dataclass(frozen=True)
class BoxOnItsWay:
    """A box in transit as recorded: its plan (one route), when it left closed, and the notes of its tracking.

    The time in transit runs from `departed_at`, as it does for the boxes that the model learns from. `expected_by` is
    when it counts as late, None where no forecast says.
    """

    plan: CompareRequest
    departed_at: datetime | None
    notes: tuple[Note, ...] = ()
    expected_by: datetime | None = None

    @property
    def left_at(self) -> datetime | None:
        """When it left: as recorded, else by the first note that says so."""
        return self.departed_at or min((note.at for note in self.notes if note.kind == "departed"), default=None)


def moment_of(text: str) -> datetime:
    """Return the moment of a query parameter; its plus sign may have become a space on its way.

    Raises
    ------
    InvalidInput
        If it is no moment with an offset.
    """
    try:
        return _MOMENT.validate_json(json.dumps(re.sub(r" (\d{2}:?\d{2})$", r"+\1", text)))
    except ValidationError as error:
        raise InvalidInput([FieldError("/at", f"must be {MOMENT_WORDS}")]) from error


def answer_outlook(
    database: Database, shipment_id: str, at: datetime | None, engine: Engine, now: datetime
) -> OutlookAnswer:
    """Return the outlook of a shipment in transit at a moment, `now` unless given.

    Raises
    ------
    NotFound, StoreUnavailable
        As `find_whole_shipment`.
    Conflict
        If it is not in transit, or was never planned here.
    InvalidInput
        If `at` is before its departure.
    """
    life, plan, *_ = find_whole_shipment(database, shipment_id)
    if life.stored.state != IN_TRANSIT:
        raise Conflict(f"{_WHY_NOT[life.stored.state]}.")
    if plan is None:
        raise Conflict("The box was not planned here, so there is no plan to look ahead from.")
    notes = tuple(Note(event.at, event.kind) for event in life.events)
    asked = with_seller(stored_plan(plan.plan_json), stored_seller(database, life.stored.record.seller)).request
    expected = expected_by(life.departed_at, plan.forecast_json)
    return outlook_of(BoxOnItsWay(asked, life.departed_at, notes, expected), at or now, engine)


def outlook_of(box: BoxOnItsWay, at: datetime, engine: Engine) -> OutlookAnswer:
    """Return what to expect of a box, given that it has not arrived at `at`; notes after that do not count.

    Raises
    ------
    InvalidInput
        If `at` is before its departure.
    """
    plan = box.plan
    prepared = prepare(plan, engine, plan.ship_date)
    [route] = prepared.routes
    left_at = box.left_at
    closed_at = route.plan.lane.closing(plan.ship_date) if left_at is None else left_at
    if at < closed_at:
        raise InvalidInput([FieldError("/at", f"must not be before the departure, {closed_at.isoformat()}")])
    closed_on = route.plan.lane.local(closed_at, "origin").date()
    known = known_journey(route, closed_at, at, box.notes, usual_layover_days=usual_layover(route, closed_on))
    followed = FollowedBox(plan, prepared, known, engine)
    left = followed.journeys.opened_days - known.elapsed_days
    p10, p50, p90 = np.quantile(left, QUANTILES)
    thermal = route.plan.box
    assumed = [] if left_at is not None else [departure_caution(plan)]
    counted = [note for note in box.notes if note.at <= at]
    return OutlookAnswer(
        model_version=engine.model_version,
        seed=plan.seed,
        at=at.astimezone(UTC),
        elapsed_days=known.elapsed_days,
        leg=None if known.tracked.leg is None else known.leg_names[known.tracked.leg],
        held=known.tracked.held_since is not None,
        late_since=late_since(box.expected_by, at),
        days_left=MeanQuantiles(mean=left.mean(), p10=p10, p50=p50, p90=p90),
        arrival_by=arrival_by(known, followed.journeys.opened_days),
        lines=[
            LineOutlook(
                line=i,
                genus=line.genus,
                cultivar=line.cultivar,
                quantity=line.quantity,
                **{name: _interval(chance) for name, chance in chances.items()},
            )
            for i, (line, chances) in enumerate(zip(plan.lines, followed.line_chances(), strict=True))
        ],
        heat_pack_ends_at=closed_at + timedelta(hours=thermal.heat_pack_hours) if thermal.heat_pack_w > 0 else None,
        helps=helps_now(followed),
        cautions=assumed + outlook_cautions(plan, prepared, followed, counted, engine),
    )


def arrival_by(known: KnownJourney, opened_days: Array) -> list[ArrivalChance]:
    """Return the chance of having been opened by the end of each local day, until it is over 0.99; 30 days at most."""
    first_day, offset = known.lane.day_offset(known.closed_at, "destination")
    opened = np.sort(np.floor(offset + opened_days))
    today = int(np.floor(offset + known.elapsed_days))
    rows = []
    for day in range(today, today + MOST_ROWS):
        chance = float(np.searchsorted(opened, day, side="right") / opened.size)
        rows.append(ArrivalChance(date=first_day + timedelta(days=day), chance=chance))
        if chance > CONSTANTS.sure_share:
            break
    return rows


def _interval(chance: Array) -> ChanceInterval:
    low, high = np.quantile(chance, [LOW, HIGH])
    return ChanceInterval(mean=min(float(chance.mean()), 1.0), low=low, high=high)
