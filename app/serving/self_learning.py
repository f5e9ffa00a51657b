"""What new boxes call for without being asked: the draws weighed at once, and a refit in the background."""

import logging
from typing import Literal

from app.clock import moment
from app.problems import StoreUnavailable
from app.serving.active_model import ActiveModel, Awaited
from app.serving.refit_process import RefitProcesses
from app.serving.refits import request_refit, take_up_refit
from app.settings import Settings
from app.store import (
    Database,
    claim_quick_update,
    count_arrived,
    later_boxes,
    learned_revision,
    refit_under_way,
)

LOG = logging.getLogger("uvicorn.error")

# A refit after each box below twice as many boxes, then after one new box for every so many.
BOXES_A_NEW_ONE = 50
After = Literal["auto", "off"] | int


def batch(after: After, n_boxes: int) -> int | None:
    """Return after how many new or corrected boxes a ledger of so many is fitted again; None: not by itself."""
    if after == "off":
        return None
    return max(1, n_boxes // BOXES_A_NEW_ONE) if after == "auto" else int(after)


class SelfLearning:
    """Starts what new boxes call for, in processes of their own.

    What is due follows from the ledger, so it is taken up after a restart and by whichever server looks first. A server
    starts each at most once for the same boxes: what dies of them is not tried for ever.
    """

    def __init__(self, settings: Settings, database: Database, active: ActiveModel, processes: RefitProcesses) -> None:
        """Take the settings, the ledger, what serves, and what starts processes."""
        self._settings, self._database, self._active, self._processes = settings, database, active, processes
        self._weighed: Awaited | None = None
        self._fitted: int | None = None

    def look(self) -> None:
        """Start what is due."""
        try:
            if not self._database.absent and not self._processes.stopping:
                self._take_up()
                self._weigh()
                self._fit()
        except StoreUnavailable as error:
            LOG.warning("what new boxes call for is not looked up: %s", error.reason)

    def _take_up(self) -> None:
        """Start again a refit that was cut short with another server, whoever had asked for it."""
        again = take_up_refit(self._database, but=self._processes.started)
        if again is not None:
            self._processes.start(again.id)

    def _weigh(self) -> None:
        awaited = self._active.awaited
        if not self._settings.quick_update or awaited is None or awaited == self._weighed:
            return
        with self._database.writing() as connection:
            claimed = claim_quick_update(connection, *awaited, now=moment())
        if claimed:
            self._weighed = awaited
            self._processes.start_quick_update()

    def _fit(self) -> None:
        after = self._settings.refit_after
        if after == "off":
            return
        with self._database.reading() as connection:
            later = later_boxes(connection, learned_revision(connection))
            if not later.boxes or later.revision == self._fitted or refit_under_way(connection, now=moment()):
                return
            wanted = batch(after, count_arrived(connection))
        update = self._active.engine.update
        refused = update is not None and not update.in_use and update.revision == later.revision
        if wanted is not None and (later.boxes >= wanted or refused):
            self._fitted = later.revision
            asked, new = request_refit(self._database, by_itself=True)
            if new:
                self._processes.start(asked.id)
