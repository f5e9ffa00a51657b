"""What can be claimed for an arrived box, of whom, until when; the draft and the page to print.

Reads what boxes record; changes nothing.
"""

from app.claims.claim import answer_claim
from app.claims.page import CLAIM_HEADERS, claim_page

__all__ = ["CLAIM_HEADERS", "answer_claim", "claim_page"]
