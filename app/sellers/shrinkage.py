"""Shares counted in a few boxes, shrunk to the average of all sellers.

The average has a beta prior about what is usual; a seller's share has a beta prior about that average, worth so many
boxes. Plants of one box share its fate, so `n` of them count as n / (1 + (n - 1) x correlation) (Kish 1965, design
effect).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaincinv

from app.schemas import ShrunkShare
from model.reference import CONSTANTS, HIGH, LOW

WITHIN_BOX_CORRELATION = CONSTANTS.within_box_correlation
FEW_BOXES = CONSTANTS.few_boxes

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Tally:
    """What was counted: `counted` of `of`, in `boxes`; `hits` of `trials` once plants of a box count for less."""

    counted: int = 0
    of: int = 0
    boxes: int = 0
    hits: float = 0.0
    trials: float = 0.0

    def __add__(self, other: "Tally") -> "Tally":
        return Tally(
            self.counted + other.counted,
            self.of + other.of,
            self.boxes + other.boxes,
            self.hits + other.hits,
            self.trials + other.trials,
        )

    @classmethod
    def of_boxes(cls, counted: NDArray[np.int64], of: NDArray[np.int64]) -> "Tally":
        """Return the tally of boxes with `of` plants each, `counted` of which count, (boxes,) each."""
        of = of.astype(np.int64)
        weight = 1.0 / (1.0 + (of - 1.0) * WITHIN_BOX_CORRELATION)
        return cls(
            int(counted.sum()), int(of.sum()), len(of), float((counted * weight).sum()), float((of * weight).sum())
        )


@dataclass(frozen=True, slots=True)
class Usual:
    """What is usual before any box is counted, and what it is worth.

    Attributes
    ----------
    share : float
        The usual share; a judgement, but for late boxes, where a p90 says it.
    average_trials : float
        Trials that this average counts for in the share of one seller.
    things, state : str
        What is counted, in the plural, and what it is when it counts.
    """

    share: float
    average_trials: float
    things: str
    state: str

    def average(self, everyone: Tally) -> float:
        """Return the average of all sellers."""
        worth = CONSTANTS.usual_worth_trials
        return (everyone.hits + self.share * worth) / (everyone.trials + worth)

    def shrunk(self, own: Tally, everyone: Tally) -> ShrunkShare:
        """Return a seller's share shrunk to the average of all."""
        average = self.average(everyone)
        a = own.hits + average * self.average_trials
        b = own.trials - own.hits + (1.0 - average) * self.average_trials
        low, high = betaincinv(a, b, [LOW, HIGH])
        return ShrunkShare(
            counted=own.counted,
            of=own.of,
            mean=a / (a + b),
            low=float(low),
            high=float(high),
            average=average,
            text=self._said(own, average, float(low), float(high)),
        )

    def _said(self, own: Tally, average: float, low: float, high: float) -> str:
        if not own.of:
            return f"No {self.things} are counted yet."
        counted = f"{own.counted:,} of {own.of:,} {self.things} {self.state}"
        if own.boxes < FEW_BOXES:
            return f"Too few boxes to tell: {counted}, in {own.boxes} {'box' if own.boxes == 1 else 'boxes'}."
        usual = f"the average of all sellers is {100 * average:.0f} %"
        if low > average:
            return f"More than others: {counted}; {usual}."
        if high < average:
            return f"Fewer than others: {counted}; {usual}."
        return f"No clear difference from others: {counted}; {usual}."
