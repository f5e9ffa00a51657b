"""Counts -> money and choices: landed cost, margin, risk measures, break-even, order size, the worth of knowing.

Arrays in, arrays out; nothing here knows of weather or of how counts came about.
"""

from model.decision.about_equal import about_equal, noise, safer_of_equals
from model.decision.break_even import RouteEconomics, break_even, overtakes
from model.decision.decision import (
    Choice,
    Summary,
    chance_best,
    chance_better,
    chance_loss_within_limit,
    choose_route,
    cost_per_healthy_plant,
    quantiles,
    summarise,
    worst_share_mean,
)
from model.decision.information import (
    Share,
    Worth,
    given_known,
    variance_share,
)
from model.decision.landed_cost import LandedCost, PlantLine, Waybill, landed_cost, minor_digits
from model.decision.margin import Recourse, cost_by_line, margin, proceeds, recovered_by_line
from model.decision.more_boxes import counted_noise_sd
from model.decision.order_size import enough_chance, enough_chance_apart, smallest_order, smallest_order_apart
from model.decision.safety_price import supporting_prices, worth_as_safe

__all__ = [
    "Choice",
    "LandedCost",
    "PlantLine",
    "Recourse",
    "RouteEconomics",
    "Share",
    "Summary",
    "Waybill",
    "Worth",
    "about_equal",
    "break_even",
    "chance_best",
    "chance_better",
    "chance_loss_within_limit",
    "choose_route",
    "cost_by_line",
    "cost_per_healthy_plant",
    "counted_noise_sd",
    "enough_chance",
    "enough_chance_apart",
    "given_known",
    "landed_cost",
    "margin",
    "minor_digits",
    "noise",
    "overtakes",
    "proceeds",
    "quantiles",
    "recovered_by_line",
    "safer_of_equals",
    "smallest_order",
    "smallest_order_apart",
    "summarise",
    "supporting_prices",
    "variance_share",
    "worst_share_mean",
    "worth_as_safe",
]
