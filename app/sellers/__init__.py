"""Sellers: what is recorded of each, what its boxes showed, and whether it gets worse.

Only changes.py writes.
"""

from app.sellers.changes import put_seller
from app.sellers.sellers import answer_seller, answer_sellers
from app.sellers.trend import fall_words

__all__ = ["answer_seller", "answer_sellers", "fall_words", "put_seller"]
