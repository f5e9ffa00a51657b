"""What earlier boxes tell of the next one's days, against the algebra of joint normals."""

import numpy as np
import pytest

from model.reference import CONSTANTS
from model.transit.asking import told_share, unknown_lane_part

SERVICE, LANE = CONSTANTS.transit_service_part, CONSTANTS.transit_lane_part
BOX = 1.0 - SERVICE - LANE


def left(lane_boxes: int, service_boxes: int) -> float:
    """Return the variance of service plus lane given boxes on the lane, and others each on a lane of its own."""
    n = lane_boxes + service_boxes
    of_boxes = np.full((n, n), SERVICE) + BOX * np.eye(n)
    of_boxes[:lane_boxes, :lane_boxes] += LANE
    of_boxes[lane_boxes:, lane_boxes:] += LANE * np.eye(service_boxes)
    with_lane = np.full(n, SERVICE)
    with_lane[:lane_boxes] += LANE
    return float(SERVICE + LANE - with_lane @ np.linalg.solve(of_boxes, with_lane))


@pytest.mark.parametrize(("lane", "service"), [(0, 0), (7, 0), (0, 5), (4, 3)])
def test_what_own_boxes_leave_unknown(lane: int, service: int) -> None:
    assert unknown_lane_part(lane_boxes=lane, service_boxes=service) == pytest.approx(left(lane, service))


@pytest.mark.parametrize("boxes", [1, 3, 50])
def test_what_asking_tells_is_a_squared_correlation(boxes: int) -> None:
    unknown = 0.35
    of_mean, of_next, both = unknown + BOX / boxes, unknown + BOX, unknown
    assert told_share(unknown, boxes) == pytest.approx(both**2 / (of_mean * of_next))
    assert told_share(unknown, 0) == told_share(0.0, boxes) == 0.0
