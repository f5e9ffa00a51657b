"""A batch request resolved: places, genera, lanes, forecast, seller's record, with every assumption and caution listed.

Nothing is drawn here.
"""

from app.batch.batch import MOST_BOXES, PackedBox, PreparedBatch, PreparedRoute, box_of, missing_papers, prepare
from app.batch.cautions import CARRIER, SELLER, caution
from app.batch.forecast import answer_forecast
from app.batch.genera import resolve_genus
from app.batch.groups import group_words
from app.batch.lanes import CLOSING_TIME, Lane, WeatherDraws, days_until_open, delay_of, table_quantiles
from app.batch.places import resolve_place
from app.batch.plans import BatchLine, RoutePlan
from app.batch.seller_defaults import Filled, answers_of, packing_of, stored_seller, with_seller
from app.batch.senders import drift_quarter, seller_level
from app.batch.words import CLAIM_WINDOWS, bearable, listed, money, of_journeys, percent, rough

__all__ = [
    "CARRIER",
    "CLAIM_WINDOWS",
    "CLOSING_TIME",
    "MOST_BOXES",
    "SELLER",
    "BatchLine",
    "Filled",
    "Lane",
    "PackedBox",
    "PreparedBatch",
    "PreparedRoute",
    "RoutePlan",
    "WeatherDraws",
    "answer_forecast",
    "answers_of",
    "bearable",
    "box_of",
    "caution",
    "days_until_open",
    "delay_of",
    "drift_quarter",
    "group_words",
    "listed",
    "missing_papers",
    "money",
    "of_journeys",
    "packing_of",
    "percent",
    "prepare",
    "resolve_genus",
    "resolve_place",
    "rough",
    "seller_level",
    "stored_seller",
    "table_quantiles",
    "with_seller",
]
