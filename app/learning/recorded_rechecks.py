"""Boxes that were counted again two weeks on -> what late loss is learned from."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.recorded import RecordedLines
from app.store import ArrivedBoxes
from model.predict import Rechecks
from model.reference import CONSTANTS

Array = NDArray[np.float64]

EARLIEST_DAYS, LATEST_DAYS = CONSTANTS.recheck_earliest_days, CONSTANTS.recheck_latest_days


class RecheckedLines(NamedTuple):
    """Lines counted again, (lines,) each: box, degree days of chilling, healthy plants looked at, and lost of them."""

    box: NDArray[np.intp]
    chill_degree_days: Array
    looked_at: Array
    lost: Array

    @property
    def n_boxes(self) -> int:
        """Boxes among them."""
        return len(np.unique(self.box))

    @property
    def n_plants(self) -> int:
        """Plants looked at."""
        return int(self.looked_at.sum())

    def at(self, chill_rate: float) -> Rechecks:
        """Return the lines with their chill dose at a learned rate."""
        return Rechecks(self.box, chill_rate * self.chill_degree_days, self.looked_at, self.lost)


def rechecked_lines(arrived: ArrivedBoxes, table: RecordedLines) -> RecheckedLines:
    """Return the lines of which late loss can be told: among plants healthy at unboxing, those that no longer are.

    Plants gone are unknown; they are taken to have been healthy ones, as sold plants are. Plants damaged at unboxing
    are taken to stay so. Lines whose healthy plants were not counted at unboxing say nothing, nor do those that were
    looked at again within a week or after six.
    """
    lines, shipments = arrived.lines, arrived.shipments
    days = (shipments.recheck_date - shipments.arrival_date).astype("timedelta64[D]").astype(float)
    days[np.isnat(shipments.recheck_date)] = np.nan
    days = days[lines.shipment]
    looked_at = lines.healthy - lines.recheck_gone
    told = (lines.recheck_healthy >= 0) & (lines.healthy >= 0) & (looked_at > 0)
    told &= (days >= EARLIEST_DAYS) & (days <= LATEST_DAYS)
    lost = np.maximum(looked_at - lines.recheck_healthy, 0)
    return RecheckedLines(
        lines.shipment[told].astype(np.intp),
        table.chill_degree_days[told],
        looked_at[told].astype(float),
        lost[told].astype(float),
    )
