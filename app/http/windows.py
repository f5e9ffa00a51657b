"""Counting by name, each in a minute that begins with its first time; in bounded memory, and by each process itself."""

from collections import OrderedDict
from collections.abc import Callable
from typing import TypeVar

WINDOW_SECONDS = 60
# About 2 MB; of more names the one that was heard of longest ago is forgotten.
MOST_NAMES = 10_000
Name = TypeVar("Name")
Kept = TypeVar("Kept")


class Windows:
    """How often each name was counted in its minute."""

    def __init__(self, clock: Callable[[], float]) -> None:
        """Begin with no name."""
        self._clock = clock
        self._windows: OrderedDict[str, tuple[float, int]] = OrderedDict()

    def __len__(self) -> int:
        """Return how many names it remembers."""
        return len(self._windows)

    def seen(self, name: str) -> tuple[int, float]:
        """Return how often a name was counted, and the seconds until its minute is over."""
        until, n = self._windows.get(name, (0.0, 0))
        left = until - self._clock()
        return (n, left) if left > 0.0 else (0, float(WINDOW_SECONDS))

    def count(self, name: str) -> None:
        """Count a name once."""
        n, left = self.seen(name)
        keep(self._windows, name, (self._clock() + left, n + 1))


def keep(table: OrderedDict[Name, Kept], name: Name, value: Kept) -> None:
    """Note what is known of a name, and forget the oldest of too many."""
    table[name] = value
    table.move_to_end(name)
    if len(table) > MOST_NAMES:
        table.popitem(last=False)
