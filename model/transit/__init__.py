"""Time in transit from three quantiles with delays as a mixture, what is left of it or made up a total, and how it is
learned.

Nothing here knows of weather or plants.
"""

from model.transit.asking import told_share, unknown_lane_part
from model.transit.delay import Delay, HoldDelay, MissedFlights
from model.transit.given_total import chosen, spent_days
from model.transit.outlook import OpenJourney, TimeAhead, Uniforms, body_ahead
from model.transit.transit import (
    MOST_MINIMUM_SHARE,
    SHORTEST_DAYS,
    SolvedTransit,
    TransitQuantiles,
    TransitTime,
    solve_transit,
)
from model.transit.transit_learning import TransitRecord, learn_transit

__all__ = [
    "MOST_MINIMUM_SHARE",
    "SHORTEST_DAYS",
    "Delay",
    "HoldDelay",
    "MissedFlights",
    "OpenJourney",
    "SolvedTransit",
    "TimeAhead",
    "TransitQuantiles",
    "TransitRecord",
    "TransitTime",
    "Uniforms",
    "body_ahead",
    "chosen",
    "learn_transit",
    "solve_transit",
    "spent_days",
    "told_share",
    "unknown_lane_part",
]
