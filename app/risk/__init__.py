"""Chances of many lines of plants at once, in vector form.

The fast path of other programs: measure before and after a change.
"""

from app.risk.one_line import KnownAnswers, answer_one
from app.risk.risk import answer_risk

__all__ = ["KnownAnswers", "answer_one", "answer_risk"]
