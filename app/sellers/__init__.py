"""Sellers: what is recorded of each, what its boxes showed, and whether it gets worse.

Only changes.py writes.
"""

from app.sellers.changes import put_seller
from app.sellers.sellers import answer_seller, answer_sellers

__all__ = ["answer_seller", "answer_sellers", "put_seller"]
