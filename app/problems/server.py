"""What keeps the server from answering a call that is right."""

from app.problems.problem import Problem

RETRY_AFTER_SECONDS = 5


class Busy(Problem):
    """Too many calls wait for their turn already, or this one has waited for too long."""

    status = 503
    code = "busy"
    title = "The server is busy"
    usual_detail = (
        f"Too many calls wait for their turn; nothing was done. Try again after {RETRY_AFTER_SECONDS} seconds or more."
    )
    retry_after_seconds = RETRY_AFTER_SECONDS


class Stopping(Problem):
    """The server was told to stop, and ends before the call is done."""

    status = 503
    code = "stopping"
    title = "The server stops"
    usual_detail = "The server ended before this call was done. See whether a change was made before it is repeated."


class StoreUnavailable(Problem):
    """The database of the ledger cannot be used."""

    status = 503
    code = "store_unavailable"
    title = "The ledger cannot be used just now"

    def __init__(self, reason: str) -> None:
        """Take what the database says; it stays out of answers, since it may name hosts and files."""
        self.reason = reason
        super().__init__("The database of the ledger cannot be used; the reason is in the log of the server.")

    def lines(self) -> list[str]:
        """Return the reason, for whoever runs the command."""
        return [f"the ledger cannot be used: {self.reason}"]
