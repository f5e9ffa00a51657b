"""A batch request resolved: places, genera, lanes, forecast, seller's record, with every assumption and caution listed.

Nothing is drawn here.
"""

from app.batch.batch import MOST_BOXES, PackedBox, PreparedBatch, PreparedRoute, box_of, missing_papers, prepare
from app.batch.cautions import CARRIER, SELLER, caution
from app.batch.forecast import answer_forecast
from app.batch.genera import resolve_genus, unpacking_cautions
from app.batch.groups import group_words
from app.batch.journey import (
    CLEARANCE_LEG,
    HUB_LEG,
    ORIGIN_LEG,
    PAPERS_SD_LOG,
    Itinerary,
    most_waited,
    not_before,
    on_working_days,
    origin_layover,
    waits_for_papers,
)
from app.batch.lanes import (
    CLOSING_TIME,
    KnownLane,
    KnownLanes,
    Lane,
    WeatherDraws,
    delay_of,
    learned_delay,
    table_quantiles,
)
from app.batch.places import resolve_place
from app.batch.plans import BatchLine, RoutePlan
from app.batch.seller_defaults import Filled, answers_of, packing_of, stored_seller, with_seller
from app.batch.senders import drift_quarter, seller_level
from app.batch.words import (
    CLAIM_WINDOWS,
    apart,
    bearable,
    boxes_words,
    half_up,
    listed,
    lost_whole_words,
    money,
    of_journeys,
    percent,
    percent_short_of,
    rough,
    shown,
)
from app.batch.working_days import WEEKDAYS, LaneCalendar

__all__ = [
    "CARRIER",
    "CLAIM_WINDOWS",
    "CLEARANCE_LEG",
    "CLOSING_TIME",
    "HUB_LEG",
    "MOST_BOXES",
    "ORIGIN_LEG",
    "PAPERS_SD_LOG",
    "SELLER",
    "WEEKDAYS",
    "BatchLine",
    "Filled",
    "Itinerary",
    "KnownLane",
    "KnownLanes",
    "Lane",
    "LaneCalendar",
    "PackedBox",
    "PreparedBatch",
    "PreparedRoute",
    "RoutePlan",
    "WeatherDraws",
    "answer_forecast",
    "answers_of",
    "apart",
    "bearable",
    "box_of",
    "boxes_words",
    "caution",
    "delay_of",
    "drift_quarter",
    "group_words",
    "half_up",
    "learned_delay",
    "listed",
    "lost_whole_words",
    "missing_papers",
    "money",
    "most_waited",
    "not_before",
    "of_journeys",
    "on_working_days",
    "origin_layover",
    "packing_of",
    "percent",
    "percent_short_of",
    "prepare",
    "resolve_genus",
    "resolve_place",
    "rough",
    "seller_level",
    "shown",
    "stored_seller",
    "table_quantiles",
    "unpacking_cautions",
    "waits_for_papers",
    "with_seller",
]
