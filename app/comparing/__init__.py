"""A resolved batch played through: compare, hold, order size, wish list, the worth of knowing, money and words.

A new question about a batch goes here.
"""

from app.comparing.batch_cautions import asked_cautions, closing_cautions, journey_cautions
from app.comparing.compare import answer_compare, route_outcomes
from app.comparing.hold import answer_hold
from app.comparing.order_size import answer_order_size
from app.comparing.results import route_results
from app.comparing.simulated import SimulatedBatch, SimulatedRoute, usual_layover
from app.comparing.simulation import (
    LONGEST_DAYS,
    WEATHER_DAYS,
    BatchSimulation,
    Journeys,
    RouteDraws,
)
from app.comparing.wish_list import answer_wish_list
from app.comparing.worth_knowing import answer_worth_knowing

__all__ = [
    "LONGEST_DAYS",
    "WEATHER_DAYS",
    "BatchSimulation",
    "Journeys",
    "RouteDraws",
    "SimulatedBatch",
    "SimulatedRoute",
    "answer_compare",
    "answer_hold",
    "answer_order_size",
    "answer_wish_list",
    "answer_worth_knowing",
    "asked_cautions",
    "closing_cautions",
    "journey_cautions",
    "route_outcomes",
    "route_results",
    "usual_layover",
]
