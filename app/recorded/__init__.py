"""Recorded boxes -> the table of lines that a fit reads and a check looks at, each with its exposure.

Columns of the store in, arrays of the model out; it neither fits nor writes.
"""

from app.recorded.recorded_boxes import RecordedLines, recorded_lines

__all__ = ["RecordedLines", "recorded_lines"]
