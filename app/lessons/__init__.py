"""What own boxes teach a buyer: what to do with which seller, plant and packing, in sentences with what they rest on.

Reads the ledger and the active model; changes nothing.
"""

from app.lessons.lessons import answer_lessons

__all__ = ["answer_lessons"]
