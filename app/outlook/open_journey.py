"""The journey of a box on its way: what of it is known, what is still open, and draws of the whole."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from app.batch import (
    CLEARANCE_LEG,
    HUB_LEG,
    ORIGIN_LEG,
    PAPERS_SD_LOG,
    Lane,
    PreparedRoute,
    delay_of,
    not_before,
    on_working_days,
    waits_for_papers,
)
from app.comparing import LONGEST_DAYS, BatchSimulation
from model.exposure import DEFAULT_WAIT_H, HELD, RELEASED, Tracked, leg_ends, share_ahead, track, tracked_ends
from model.reference import CONSTANTS
from model.transit import Delay, HoldDelay, OpenJourney, TimeAhead, TransitTime, Uniforms, body_ahead

Array = NDArray[np.float64]

LEG_OF_KIND = {"at_hub": HUB_LEG, "in_clearance": CLEARANCE_LEG}
# Distributions are followed no further; a box that has been silent for longer is as one silent for a year.
MOST_OPEN_DAYS = 365.0
# Near closed days some journeys drawn are over already: the draws are drawn so many times, and those left are thinned.
CLOSED_ROUNDS = 4
# Equally likely waits for papers over which a chance is averaged.
PAPERS_NODES = 32


class Note(NamedTuple):
    """A tracking note."""

    at: datetime
    kind: str


@dataclass(frozen=True, slots=True, eq=False)
class KnownJourney:
    """What is known of a box on its way; days count from `closed_at`, the closing of the box.

    Attributes
    ----------
    route : PreparedRoute
    closed_at : datetime
        UTC.
    elapsed_days : float
    tracked : Tracked
    last_note_days : float
        When it was last heard of.
    usual_layover_days : float
        Expected at the origin when it left.
    """

    route: PreparedRoute
    closed_at: datetime
    elapsed_days: float
    tracked: Tracked
    last_note_days: float
    usual_layover_days: float

    @property
    def lane(self) -> Lane:
        """Its lane."""
        return self.route.plan.lane

    @property
    def leg_names(self) -> list[str]:
        """The names of its legs, in order."""
        return [leg.leg for leg in self.lane.legs]

    @property
    def delay_leg(self) -> str:
        """The leg in which a delay happens: the service's own, or the present one once that is over."""
        names, leg = self.leg_names, self.tracked.leg
        named = self.lane.service.delay_leg
        return named if leg is None or names.index(named) >= leg else names[leg]

    @property
    def hold_leg(self) -> str:
        """The leg in which the box is, or would be, held."""
        return self.delay_leg if self.tracked.leg is None else self.leg_names[self.tracked.leg]

    @property
    def since_days(self) -> float:
        """Beginning of what is still open: that of its leg, holds that are over and layover added."""
        return self.tracked.since_days + self.tracked.held_days + self.layover_days

    @property
    def beyond_days(self) -> float:
        """By how much what is open, or a hold, has lasted longer than `MOST_OPEN_DAYS`."""
        held = self.tracked.held_since
        return max(self.elapsed_days - (self.since_days if held is None else held) - MOST_OPEN_DAYS, 0.0)

    @property
    def layover_days(self) -> float:
        """The layover at the origin; over once the box has been seen further on."""
        return self.usual_layover_days if self.tracked.leg is None else 0.0

    @property
    def plan_chance_by_now(self) -> float:
        """The chance, by its plan and whatever was heard since, that a box has arrived after so long."""
        plan, offset = self.route.plan, self.lane.day_offset(self.closed_at, "destination")
        waits = self.usual_layover_days + waits_for_papers(plan.papers_days, PAPERS_NODES)
        # One that came on a day that is not worked has not arrived yet, if that may still be.
        came = plan.calendar.destination.surely_taken(*offset, self.elapsed_days)
        return float(plan.transit.cdf(came - waits).mean())

    @property
    def papers_ahead(self) -> bool:
        """Whether missing papers will still hold the box up."""
        held = self.tracked.held_since is not None or self.tracked.was_held
        cleared = self.tracked.leg == self.leg_names.index(CLEARANCE_LEG) and held
        return self.route.plan.papers_days > 0 and not cleared


def legs_of_kinds(lane: Lane) -> dict[str, int]:
    """Return the leg that each kind of note names, by its index, where the lane has that leg."""
    names = [leg.leg for leg in lane.legs]
    return {kind: names.index(leg) for kind, leg in LEG_OF_KIND.items() if leg in names}


def known_journey(
    route: PreparedRoute, closed_at: datetime, at: datetime, notes: Sequence[Note], *, usual_layover_days: float
) -> KnownJourney:
    """Return what the notes up to `at` say of a box."""
    # Of notes of one moment those that name a leg come first: a box is held where it is.
    told = sorted((note for note in notes if note.at <= at), key=lambda n: (n.at, n.kind in (HELD, RELEASED), n.kind))
    heard = [(_days(closed_at, note.at), note.kind) for note in told]
    tracked = track(heard, legs_of_kinds(route.plan.lane))
    return KnownJourney(
        route=route,
        closed_at=closed_at,
        elapsed_days=_days(closed_at, at),
        tracked=tracked,
        last_note_days=max([0.0, *(days for days, _ in heard)]),
        usual_layover_days=usual_layover_days,
    )


def _days(start: datetime, end: datetime) -> float:
    return (end - start) / timedelta(days=1)


def open_part(known: KnownJourney) -> OpenJourney:
    """Return the part of the journey that is still open."""
    plan, service, tracked = known.route.plan, known.lane.service, known.tracked
    delay: Delay = plan.transit.delay
    if delay.share == 0:
        delay = delay_of(service).with_share(CONSTANTS.least_delay_share)
    customs = HoldDelay(CONSTANTS.clearance_hold_share, plan.papers_days or service.papers_delay_days, PAPERS_SD_LOG)
    body, beyond = plan.transit.body, known.beyond_days
    # Where no note names the leg, a hold may be customs' as well as the service's own.
    holds: tuple[Delay, ...] = (delay, customs)
    if tracked.leg is not None:
        body = body_ahead(body, share_ahead(known.lane.legs, tracked.leg), DEFAULT_WAIT_H / 24.0)
        passed = known.delay_leg != service.delay_leg
        if passed and not isinstance(delay, HoldDelay):
            delay = customs
        if known.hold_leg != CLEARANCE_LEG:
            holds = (delay,)
        elif passed:
            holds = (customs,)
    return OpenJourney(
        transit=TransitTime(body, delay),
        since_days=known.since_days + beyond,
        wait=HoldDelay(1.0, plan.papers_days, PAPERS_SD_LOG) if known.papers_ahead else None,
        held_since=None if tracked.held_since is None else tracked.held_since + beyond,
        holds=holds,
    )


@dataclass(frozen=True, slots=True, eq=False)
class JourneyDraws:
    """Draws of the whole journey, (draws,) but for the ends of the legs.

    Attributes
    ----------
    ends_h : (legs, draws)
        The hour each leg ends, at most 120 days.
    opened_days : (draws,)
        From closing to opening.
    hold_days, papers_days : (draws,)
        How long a hold in progress lasts, and the wait for missing papers that is still to come.
    """

    ends_h: Array
    opened_days: Array
    hold_days: Array
    papers_days: Array


def draw_journeys(known: KnownJourney, simulation: BatchSimulation) -> JourneyDraws:
    """Draw the journey given all that is known, with the uniforms of the plan's own forecast."""
    journey, elapsed = open_part(known), known.elapsed_days
    # A box that comes on a day that is not worked is opened later: it may have come since those days began.
    came_after = _came_after(known)
    if came_after < elapsed:
        rounds = [journey.draw(came_after, _uniforms(simulation, f" round {i}")) for i in range(CLOSED_ROUNDS)]
        drawn = TimeAhead(*(np.concatenate(parts) for parts in zip(*rounds, strict=True)))
        ends = _ends_h(known, drawn)
        still = np.flatnonzero(ends[-1] > 24.0 * elapsed)
        if still.size:
            kept = still[np.arange(simulation.n_draws) * still.size // simulation.n_draws]
            return _journeys(known, TimeAhead(*(part[kept] for part in drawn)), ends[:, kept])
    ahead = journey.draw(elapsed, _uniforms(simulation))
    return _journeys(known, ahead, _ends_h(known, ahead))


def _uniforms(simulation: BatchSimulation, again: str = "") -> Uniforms:
    body, delayed, delay = simulation.numbers.journey(0, again)
    # The largest normal would round to 1.
    wait = np.minimum(ndtr(simulation.numbers.papers(again)), np.nextafter(1.0, 0.0))
    return Uniforms(body, delayed, delay, wait)


def _came_after(known: KnownJourney) -> float:
    """Return the elapsed days that an unopened box has surely taken to come, but for days that nobody worked."""
    elapsed = known.elapsed_days
    if known.tracked.held_since is not None:
        return elapsed  # what is held has not come
    hub_ahead = known.tracked.leg is None
    taken = not_before(known.lane, known.route.plan.calendar, known.closed_at, elapsed, hub=hub_ahead)
    # What is known of its leg and its holds stands.
    return max(taken, min(known.since_days, elapsed))


def _ends_h(known: KnownJourney, ahead: TimeAhead) -> Array:
    """Return the hour each leg ends, (legs, draws), at most 120 days from now."""
    legs, tracked = known.lane.legs, known.tracked
    body = ahead.body
    added = {leg: np.zeros_like(body) for leg in {known.delay_leg, known.hold_leg, CLEARANCE_LEG, ORIGIN_LEG}}
    added[known.delay_leg if tracked.held_since is None else known.hold_leg] += ahead.delay
    added[known.hold_leg] += tracked.held_days + known.beyond_days
    added[CLEARANCE_LEG] += ahead.wait
    added[ORIGIN_LEG] += known.layover_days
    if tracked.leg is None:
        ends = leg_ends(legs, body, added_days=dict(added))
    else:
        ends = tracked_ends(legs, tracked, body, added_days=added)
    ends = np.minimum(ends, 24.0 * (known.elapsed_days + LONGEST_DAYS))
    calendar = known.route.plan.calendar
    return on_working_days(ends, known.lane, calendar, known.closed_at, hub=tracked.leg is None)


def _journeys(known: KnownJourney, ahead: TimeAhead, ends_h: Array) -> JourneyDraws:
    # Rounding must not open a box before now.
    opened = np.maximum(ends_h[-1] / 24.0, known.elapsed_days)
    return JourneyDraws(np.minimum(ends_h, 24.0 * LONGEST_DAYS), opened, ahead.delay, ahead.wait)
