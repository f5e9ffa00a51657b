"""Ledger -> table of lines -> fit -> gate -> stored version.

Only the process of a refit imports this room, from the command line.
"""

from app.learning.job import RefitError, run_refit
from app.learning.later_boxes import weigh_later_boxes

__all__ = ["RefitError", "run_refit", "weigh_later_boxes"]
