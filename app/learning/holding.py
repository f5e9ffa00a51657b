"""Whether what a refit stores answers at once: where a version was gone back to by hand, that holds."""

from app.learning.gate import Verdict
from app.store import Connection, active_version, end_hold, read_hold, read_refit

MEANWHILE = "Kept, not activated: another version was activated while this one was fitted."
HELD = "Kept, and waits: an earlier version was gone back to, which answers until a newer one is taken."
ENDS_HOLD = " Since it was asked for, it ends the going back to an earlier version: newer ones are activated again."


def decide_activation(
    connection: Connection, refit_id: str, verdict: Verdict, *, compared_with: str | None
) -> tuple[bool, str]:
    """Return whether a version is activated, and the reason, in a write transaction that ends a hold where it is over.

    `compared_with` is the version that was active when the refit began, None for the rules of thumb.
    """
    if verdict.activate and active_version(connection) != compared_with:
        return False, MEANWHILE
    hold = read_hold(connection) if verdict.activate else None
    if hold is None:
        return verdict.activate, verdict.reason
    refit = read_refit(connection, refit_id)
    # Who goes back after a refit was asked for has seen that it runs.
    if refit is None or refit.by_itself or hold.at > refit.created_at:
        found = verdict.reason.removeprefix("Activated: ")
        return False, f"{HELD} {found[:1].upper()}{found[1:]}"
    end_hold(connection)
    return True, verdict.reason + ENDS_HOLD
