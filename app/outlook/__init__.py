"""A box on its way: days left, chances of its plants, what would help now.

Reads what boxes record; changes nothing.
"""

from app.outlook.outlook import answer_outlook, moment_of

__all__ = ["answer_outlook", "moment_of"]
