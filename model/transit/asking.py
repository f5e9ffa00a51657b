"""What the days of earlier boxes tell of the next one's: how far the lane is known, and how far asking makes it known.

Of the variance of log days of a box on a lane that nobody knows, a part lies between services as they are and as
tabulated and a part between their lanes, as in `transit_learning`; the rest is the box's own and nobody can tell it.
Own boxes have told some of the two already. On the log scale all are taken as normal, delays apart.
"""

from model.reference import CONSTANTS

SERVICE_PART, LANE_PART = CONSTANTS.transit_service_part, CONSTANTS.transit_lane_part
BOX_PART = 1.0 - SERVICE_PART - LANE_PART


def unknown_lane_part(*, lane_boxes: int = 0, service_boxes: int = 0) -> float:
    """Return the variance of log days that the lane is still unknown by, in parts of the table's.

    `lane_boxes` are own boxes on the lane, `service_boxes` those of its service on other lanes.
    """
    service = _left(SERVICE_PART, BOX_PART + LANE_PART, service_boxes)
    return _left(service + LANE_PART, BOX_PART, lane_boxes)


def told_share(unknown: float, asked_boxes: int) -> float:
    """Return the share of the variance of the next box's log days that so many boxes of its lane would tell.

    `unknown` is from `unknown_lane_part`; what they would tell is the squared correlation of their mean with the
    next one, between 0 and 1.
    """
    if unknown <= 0.0 or asked_boxes == 0:
        return 0.0
    of_lane = unknown / (unknown + BOX_PART / asked_boxes)
    return of_lane * unknown / (unknown + BOX_PART)


def _left(variance: float, noise: float, n: int) -> float:
    """Return the variance left after n observations with noise."""
    return variance * noise / (noise + n * variance)
