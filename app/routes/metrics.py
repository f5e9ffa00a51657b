"""``GET /metrics``, for Prometheus or what reads its text format."""

from collections.abc import Iterator
from datetime import datetime

from fastapi import APIRouter, Request, Response
from prometheus_client.metrics_core import CounterMetricFamily, GaugeMetricFamily, Metric
from starlette.datastructures import State

from app.clock import moment
from app.http import METRICS_TYPE, KeyRing, Metrics, pools_of
from app.problems import StoreUnavailable
from app.serving import ActiveModel
from app.store import Database, LedgerSize, ledger_size

router = APIRouter()


@router.get("/metrics", include_in_schema=False)
async def metrics(request: Request) -> Response:
    """Return what this process has measured, and model, ledger and refits as they are now."""
    state = request.app.state
    size = await pools_of(request).reading.run(request, lambda: _size(state))
    counted: Metrics = state.metrics
    now = moment(state.settings.now)
    found = [*_of_pools(state), *_of_model(state.active, now), *_of_keys(state.keys, now), *_of_ledger(size)]
    return Response(counted.text(found), headers={"Content-Type": METRICS_TYPE})


def _size(state: State) -> LedgerSize | None:
    """Return how large the ledger is, None if it cannot be used: what the process has measured is told all the same."""
    database: Database = state.database
    try:
        return database.read(ledger_size) or LedgerSize(0, {}, {})
    except StoreUnavailable:
        return None


def _of_pools(state: State) -> Iterator[Metric]:
    waiting = GaugeMetricFamily("transit_queue_calls", "Calls that wait for a thread", labels=["pool"])
    working = GaugeMetricFamily("transit_threads_working", "Threads that work", labels=["pool"])
    threads = GaugeMetricFamily("transit_threads", "Threads there are", labels=["pool"])
    refused = CounterMetricFamily("transit_queue_refused", "Calls refused since too many waited", labels=["pool"])
    for pool in state.pools:
        waiting.add_metric([pool.name], pool.n_waiting)
        working.add_metric([pool.name], pool.n_working)
        threads.add_metric([pool.name], pool.n_threads)
        refused.add_metric([pool.name], pool.n_refused)
    return iter((waiting, working, threads, refused))


def _of_model(active: ActiveModel, now: datetime) -> Iterator[Metric]:
    engine = active.engine
    name = GaugeMetricFamily("transit_model", "The version that answers", labels=["version"])
    name.add_metric([engine.model_version], 1)
    yield name
    yield GaugeMetricFamily(
        "transit_model_degraded", "Whether the active version cannot be used", value=float(active.notice is not None)
    )
    if engine.fit is not None:
        age = (now - engine.fit.manifest.fitted_at).total_seconds()
        yield GaugeMetricFamily("transit_model_age_seconds", "Since the version that answers was fitted", value=age)


def _of_keys(keys: KeyRing, now: datetime) -> Iterator[Metric]:
    if (first := keys.first_expiry) is not None:
        left = (first - now).total_seconds()
        yield GaugeMetricFamily("transit_keys_expire_seconds", "Until the first key expires", value=left)


def _of_ledger(size: LedgerSize | None) -> Iterator[Metric]:
    yield GaugeMetricFamily("transit_ledger_up", "Whether the ledger can be used", value=float(size is not None))
    if size is None:
        return
    yield GaugeMetricFamily("transit_ledger_bytes", "Size of the ledger's database", value=size.n_bytes)
    boxes = GaugeMetricFamily("transit_ledger_boxes", "Boxes in the ledger", labels=["state"])
    refits = GaugeMetricFamily("transit_refits", "Refits in the ledger, by how they went", labels=["state"])
    for family, numbers in ((boxes, size.boxes), (refits, size.refits)):
        for state, n in sorted(numbers.items()):
            family.add_metric([state], n)
        yield family
