"""The clock of the service: the only place that asks the computer for the date, and what is done again and again."""

import logging
from collections.abc import Callable
from datetime import UTC, datetime

from anyio import CapacityLimiter, sleep, to_thread

LOG = logging.getLogger("uvicorn.error")


def moment(fixed: datetime | None = None) -> datetime:
    """Return now, in UTC: `fixed` where the setting ``TRANSIT_NOW`` gives it, else what the computer says.

    What measures time gone by, as the lease of a refit does, or puts things in the order in which they came gives no
    `fixed`: a clock that stands still can do neither.
    """
    return datetime.now(UTC) if fixed is None else fixed.astimezone(UTC)


async def every(seconds: float, work: Callable[[], object], failed: str) -> None:
    """Do some work again and again, in a thread of its own, until cancelled; the first time after so many seconds.

    It outlives whatever goes wrong, since the next time may succeed: the log says what `failed`, and why.
    """
    thread = CapacityLimiter(1)
    while True:
        await sleep(seconds)
        try:
            await to_thread.run_sync(work, limiter=thread)
        except Exception:
            LOG.exception(failed)
