"""A recheck adds up to the plants that were alive at unboxing."""

from collections.abc import Sequence

from app.records import LineRecord


def alive_at_arrival(line: LineRecord) -> tuple[int, int]:
    """Return the fewest and the most plants of a line that can have been alive; the same where all was counted."""
    sent = line.sent or 0
    if line.healthy is not None and line.damaged is not None:
        alive = line.healthy + line.damaged
        return alive, alive
    if line.dead is not None:
        return sent - line.dead, sent - line.dead
    return line.healthy or 0, sent


def recheck_fault(line: LineRecord, counts: Sequence[int]) -> str | None:
    """Return what is wrong with the rechecked counts of a line, or None."""
    least, most = alive_at_arrival(line)
    if least <= sum(counts) <= most:
        return None
    alive = f"{least:,}" if least == most else f"{least:,} to {most:,}"
    return f"healthy, damaged, dead and gone must add up to the plants alive at arrival, {alive}"
