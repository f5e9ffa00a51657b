"""Records that cannot be: looked for at import, at unboxing and after a refit, told in words, kept until settled.

It reads records and draws and changes neither; a doubtful record is used as it stands.
"""

from app.doubts.journeys import LikelyJourneys
from app.doubts.screening import Doubt, Recorded, Screening, screen

__all__ = ["Doubt", "LikelyJourneys", "Recorded", "Screening", "screen"]
