"""Stored forecasts scored against what came, and what that comes to in words.

A stored forecast is never computed again.
"""

from app.track_record.track_record import TrackRecord

__all__ = ["TrackRecord"]
