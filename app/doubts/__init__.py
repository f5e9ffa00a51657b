"""Records that cannot be: looked for at import, at unboxing and after a refit, told in words, kept until settled.

It reads records and draws and changes neither; a doubtful record is used as it stands, but that a refit learns no
times in transit from times that look wrong.
"""

from app.doubts.check import Told, boxes_of_a_refit, check_shipments, doubtful, doubtful_records, find_doubts, seen_by
from app.doubts.screening import CheckedRecords
from app.doubts.slips import OF_TIME, dates_hint

__all__ = [
    "OF_TIME",
    "CheckedRecords",
    "Told",
    "boxes_of_a_refit",
    "check_shipments",
    "dates_hint",
    "doubtful",
    "doubtful_records",
    "find_doubts",
    "seen_by",
]
