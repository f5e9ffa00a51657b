"""Long work looks here, between its parts, whether anybody waits for it still."""

from anyio import from_thread


def end_if_abandoned() -> None:
    """End the work of a call whose client has left; outside of a server nobody leaves.

    Raises
    ------
    asyncio.CancelledError
        In a thread of a server whose call was given up (see `app.http.pools`); no handler of faults catches it.
    """
    try:
        from_thread.check_cancelled()
    except RuntimeError:  # no thread of a server
        return
