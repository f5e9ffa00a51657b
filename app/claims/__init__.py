"""What can be claimed for an arrived box, of whom, until when; the draft, the page to print, a calendar of the dates.

Reads what boxes record; changes nothing.
"""

from app.claims.calendar_file import CALENDAR_TYPE, box_calendar, boxes_calendar
from app.claims.claim import answer_claim
from app.claims.page import CLAIM_HEADERS, claim_page

__all__ = ["CALENDAR_TYPE", "CLAIM_HEADERS", "answer_claim", "box_calendar", "boxes_calendar", "claim_page"]
