"""What the stored plan of a box says of its journey: times, days without work, papers, pick-up, forecast."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from model.exposure import Forecast
from model.transit import TransitQuantiles


@dataclass(frozen=True, slots=True, eq=False)
class Planned:
    """A plan's part about the journey.

    Attributes
    ----------
    service : str
    times : TransitQuantiles or None
        Of the total, days, where the buyer gave them.
    closed, opened : tuple of date
        Days given as not worked at the destination, and as worked everywhere.
    public_holidays : bool
    n_missing : int
        Papers said not to be in hand.
    wait_h : float or None
        From closing the box to its pick-up, where given.
    forecast : mapping
        Of the weather, by place and day; empty without one.
    """

    service: str
    times: TransitQuantiles | None
    closed: tuple[date, ...]
    opened: tuple[date, ...]
    public_holidays: bool
    n_missing: int
    wait_h: float | None
    forecast: Mapping[str, Mapping[date, Forecast]]


def planned(plan: tuple[str, str] | None) -> Planned | None:
    """Return what a plan and its forecast, as JSON, say of the journey; None without a plan."""
    if plan is None:
        return None
    asked = json.loads(plan[0])
    [route] = asked["routes"]
    times = route.get("transit_days")
    return Planned(
        service=route["service"],
        times=None if times is None else TransitQuantiles(times["p10"], times["p50"], times["p90"]),
        closed=_dates(asked.get("closed_dates", ())),
        opened=_dates(asked.get("open_dates", ())),
        public_holidays=asked.get("public_holidays", True),
        n_missing=sum(in_hand is False for in_hand in asked.get("paperwork", {}).values()),
        wait_h=asked.get("packing", {}).get("wait_hours"),
        forecast={
            place: {date.fromisoformat(day["date"]): Forecast(day["min_c"], day["max_c"]) for day in days}
            for place, days in asked.get("forecast", {}).items()
        },
    )


def _dates(days: list[str]) -> tuple[date, ...]:
    return tuple(date.fromisoformat(day) for day in days)
