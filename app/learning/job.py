"""The refit itself: ledger in, a stored version out. Only the process of a refit imports this module.

Everything is read in one transaction and stored in one: a crash, a full disk or a kill at any moment leaves the active
version as it was.
"""

import logging
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from threading import Event, Thread

from app.clock import moment
from app.doubts import OF_TIME, CheckedRecords, Told, boxes_of_a_refit, find_doubts, seen_by
from app.learning.criticism import left_out_scores
from app.learning.fit import Recorded, fit_model, with_times
from app.learning.gate import Verdict, judge
from app.learning.holding import decide_activation
from app.learning.left_out import Compared, Scores, compared_boxes, scores_by_box, scores_by_rules
from app.learning.recorded_times import RecordedTimes
from app.problems import StoreUnavailable
from app.serving import ArtefactError, FittedModel, StoredFit, read_fit, rules_draws, with_left_out
from app.store import (
    ACTIVATED,
    FAILED,
    KEPT,
    QUEUED,
    RUNNING,
    ArrivedBoxes,
    Connection,
    Database,
    LoggerColumns,
    Refit,
    ShipmentColumns,
    StoredVersion,
    active_version,
    add_version,
    confirmed_shipments,
    doubted_shipments,
    finish_refit,
    ledger_revision,
    list_arrived_names,
    read_arrived,
    read_logger,
    read_on_the_way,
    read_plans,
    read_refit,
    replace_doubts,
    start_refit,
    touch_refit,
    unchecked_shipments,
)
from model.fit import ConvergenceError, CountError
from model.predict import PosteriorDraws
from model.prior import PriorError
from model.reference import Reference, load_reference

LOG = logging.getLogger("app.refit")

HEARTBEAT_SECONDS = 5.0
TURN_SECONDS = 0.5
UNEXPECTED = "The fit stopped on an unexpected fault; the log of the server has it. The active version serves on."


class RefitError(RuntimeError):
    """A refit that cannot go on; the message is its reason."""


@dataclass(frozen=True, slots=True, eq=False)
class _Ledger:
    """What a refit reads, all at one moment.

    `active` is the name of the active version, None for the rules of thumb; `active_fit` what can be used of it.
    `doubted` are the boxes whose times look wrong, `confirmed` those whose record counts as right, by number.
    """

    revision: int
    arrived: ArrivedBoxes
    on_the_way: ShipmentColumns
    logger: LoggerColumns
    plans: dict[int, tuple[str, str]]
    active: str | None
    active_fit: StoredFit | None
    names: list[str]
    unchecked: list[int]
    doubted: set[int]
    confirmed: set[int]


@dataclass(frozen=True, slots=True, eq=False)
class _Active:
    """The version that a candidate is compared with, and the revision of the ledger that it has seen."""

    words: str
    draws: PosteriorDraws
    seen: int
    is_rules: bool = False


def run_refit(
    database: Database, refit_id: str, *, n_weighed: int | None = None, fixed: datetime | None = None
) -> Refit:
    """Wait for the turn of a queued refit, run it as of `fixed` (now unless given), and return how it ended.

    Raises
    ------
    StoreUnavailable
        If the database cannot be used, not even to say that the refit failed.
    """
    with _signs_of_life(database, refit_id) as stopped:
        if _turn(database, refit_id, stopped):
            ledger: _Ledger | None = None
            try:
                reference = load_reference()
                ledger = _read(database, reference)
                _refit(database, refit_id, ledger, reference, n_weighed, moment(fixed))
            except (RefitError, ConvergenceError, CountError, PriorError, ArtefactError) as error:
                _fail(database, refit_id, f"{error}".rstrip(".") + ". The active version serves on.", ledger)
            except StoreUnavailable as error:
                _fail(database, refit_id, f"The new version could not be stored: {error.reason}. Nothing has changed.")
            except Exception:
                LOG.error("%s", traceback.format_exc())
                _fail(database, refit_id, UNEXPECTED, ledger)
    with database.reading() as connection:
        refit = read_refit(connection, refit_id)
    if refit is None:
        raise RefitError(f"there is no refit {refit_id}")
    return refit


def _turn(database: Database, refit_id: str, stopped: Event) -> bool:
    """Wait until no other refit runs; False if this one has ended meanwhile."""
    while True:
        with database.writing() as connection:
            state = start_refit(connection, refit_id, now=moment())
        if state != QUEUED:
            return state == RUNNING
        if stopped.wait(TURN_SECONDS):
            return False


@contextmanager
def _signs_of_life(database: Database, refit_id: str) -> Iterator[Event]:
    """Give a sign of life every few seconds; the event yielded is set once the refit counts as ended."""
    stopped = Event()

    def touch() -> None:
        while not stopped.wait(HEARTBEAT_SECONDS):
            try:
                with database.writing() as connection:
                    alive = touch_refit(connection, refit_id, now=moment())
            except StoreUnavailable:
                continue  # full, or busy for long: the lease is longer
            if not alive:
                stopped.set()

    thread = Thread(target=touch, name="signs of life", daemon=True)
    thread.start()
    try:
        yield stopped
    finally:
        stopped.set()
        thread.join()


def _fail(database: Database, refit_id: str, reason: str, ledger: _Ledger | None = None) -> None:
    """Record a failure; of a ledger that another try would fail at as well, if so."""
    seen = None if ledger is None else ledger.revision
    with database.writing() as connection:
        finish_refit(connection, refit_id, state=FAILED, reason=reason, now=moment(), seen=seen)


def _refit(
    database: Database, refit_id: str, ledger: _Ledger, reference: Reference, n_weighed: int | None, now: datetime
) -> None:
    recorded = Recorded.of(
        ledger.arrived, ledger.on_the_way, ledger.logger, ledger.plans, reference, now=now, doubted=ledger.doubted
    )
    if not len(recorded.lines.lines):
        raise RefitError("There are no arrived boxes to learn from")
    fitted, arrays = fit_model(recorded, reference, fitted_at=now, n_weighed=n_weighed)
    active = _active(ledger, reference)
    compared = compared_boxes(recorded, ledger.arrived, seen=active.seen)
    scores = scores_by_box(fitted.draws, active.draws, recorded.observed, compared, n_weighed)
    verdict = _judge(fitted, active, compared, scores)
    told = _doubts(ledger, fitted, active, verdict, now)
    if (doubted := _doubted_times(ledger, told)) != ledger.doubted:
        shipments = ledger.arrived.shipments
        times = RecordedTimes(shipments, ledger.on_the_way, reference, now=now, doubted=doubted)
        fitted, arrays = with_times(fitted, recorded, times)
    boxes = recorded.observed.of_boxes(compared.boxes)
    rules = scores.active if active.is_rules else scores_by_rules(boxes, reference)
    names = [ledger.names[shipment] for shipment in recorded.shipment_of_box[compared.boxes].tolist()]
    fitted = with_left_out(fitted, arrays, left_out_scores(scores.candidate, rules, names))
    _store(database, refit_id, ledger, fitted, arrays, verdict, told=told)


def _doubts(ledger: _Ledger, fitted: FittedModel, active: _Active, verdict: Verdict, now: datetime) -> Told:
    """Look at records by the version that will serve."""
    draws, revision = (fitted.draws, ledger.revision) if verdict.activate else (active.draws, active.seen)
    records = CheckedRecords(ledger.arrived, ledger.logger, ledger.plans, seen_by(ledger.arrived, revision))
    boxes = boxes_of_a_refit(ledger.arrived, ledger.unchecked)
    return find_doubts(records, ledger.names, boxes, draws, now=now)


def _doubted_times(ledger: _Ledger, told: Told) -> set[int]:
    """Return the boxes whose times look wrong once the records were looked at."""
    found = {doubt.shipment for doubt in told.doubts if doubt.column in OF_TIME} - ledger.confirmed
    return found | ledger.doubted.difference(one.number for one in told.looked_at)


def _read(database: Database, reference: Reference) -> _Ledger:
    with database.reading() as connection:
        active = active_version(connection)
        return _Ledger(
            ledger_revision(connection),
            read_arrived(connection),
            read_on_the_way(connection),
            read_logger(connection),
            read_plans(connection),
            active,
            _usable(connection, active, reference),
            list_arrived_names(connection),
            unchecked_shipments(connection),
            doubted_shipments(connection, OF_TIME),
            confirmed_shipments(connection),
        )


def _usable(connection: Connection, version: str | None, reference: Reference) -> StoredFit | None:
    try:
        return None if version is None else read_fit(connection, version, reference)
    except ArtefactError as error:
        LOG.warning("%s cannot be compared with: %s", version, error)
        return None


def _active(ledger: _Ledger, reference: Reference) -> _Active:
    """Return the version to compare with: the rules of thumb where the active one cannot be used, as the servers do."""
    if ledger.active_fit is not None:
        stored, fit = ledger.active_fit
        return _Active("the version before", fit.draws, stored.ledger_revision)
    return _Active("the rules of thumb alone", rules_draws(reference), 0, is_rules=True)


def _judge(fitted: FittedModel, active: _Active, compared: Compared, scores: Scores) -> Verdict:
    return judge(
        fitted.draws,
        active.draws,
        difference=scores.candidate - scores.active,
        n_new=int((~compared.known).sum()),
        before=active.words,
    )


def _store(
    database: Database,
    refit_id: str,
    ledger: _Ledger,
    fitted: FittedModel,
    arrays: bytes,
    verdict: Verdict,
    *,
    told: Told,
) -> None:
    now = moment()
    version = f"fit-{now:%Y%m%dT%H%M%SZ}-{refit_id[1:9]}"
    with database.writing() as connection:
        activate, reason = decide_activation(connection, refit_id, verdict, compared_with=ledger.active)
        stored = StoredVersion(
            version, fitted.manifest.model_dump_json(), ledger.revision, activate, now, verdict.activate
        )
        add_version(connection, stored, arrays)
        replace_doubts(connection, *told)
        diagnostics = fitted.manifest.diagnostics
        if not diagnostics["enough_draws"]:
            reason += f" Few effective draws ({diagnostics['effective_draws']:.0f}): intervals are rough."
        state = ACTIVATED if activate else KEPT
        if not finish_refit(
            connection, refit_id, state=state, reason=reason, now=now, version=version, seen=ledger.revision
        ):
            raise RefitError("It gave no sign of life for too long and was given up")
