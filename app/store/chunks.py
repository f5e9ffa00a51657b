"""Long lists in pieces: a statement takes only so many values."""

from collections.abc import Iterator, Sequence
from typing import TypeVar

Item = TypeVar("Item")

CHUNK = 500


def chunks(items: Sequence[Item], size: int = CHUNK) -> Iterator[Sequence[Item]]:
    """Yield the items in order, at most `size` at a time."""
    for start in range(0, len(items), size):
        yield items[start : start + size]
