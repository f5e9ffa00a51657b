"""What is noted of a call while it is answered: its id, whose key it has, and how long it waited and worked."""

from contextvars import ContextVar
from dataclasses import dataclass, field
from typing import NamedTuple

# What a log has for a call whose client left before its answer: no answer of HTTP, and nobody's fault.
CLIENT_LEFT = 499


class Turn(NamedTuple):
    """One piece of work of a call in a pool of threads: how long it waited for its turn, and how long it took."""

    pool: str
    queue_seconds: float
    work_seconds: float


@dataclass(slots=True)
class Call:
    """A call; `waits` says that its caller asked to wait for something, so that it is not slow for that.

    `refused_key` says why its key was refused: a short name that counts as a label of `/metrics`; `todo` is what the
    operator can do about it.
    """

    request_id: str
    key_name: str | None = None
    refused_key: str | None = None
    todo: str | None = None
    waits: bool = False
    turns: list[Turn] = field(default_factory=list)

    @property
    def queue_seconds(self) -> float:
        """How long it waited for its turns."""
        return sum(turn.queue_seconds for turn in self.turns)


CALL: ContextVar[Call | None] = ContextVar("call", default=None)
"""The call that is being answered; None outside of one."""


def note_turn(pool: str, queue_seconds: float, work_seconds: float) -> None:
    """Note a piece of work of the call that is being answered."""
    if (call := CALL.get()) is not None:
        call.turns.append(Turn(pool, queue_seconds, work_seconds))


def note_waiting() -> None:
    """Note that the caller asked to wait."""
    if (call := CALL.get()) is not None:
        call.waits = True
