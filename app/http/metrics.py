"""What a server measures of itself, for ``GET /metrics`` (Prometheus text format)."""

from collections.abc import Iterable, Iterator

from prometheus_client import CollectorRegistry, Counter, Histogram, ProcessCollector, generate_latest
from prometheus_client.exposition import CONTENT_TYPE_PLAIN_0_0_4
from prometheus_client.metrics_core import Metric
from prometheus_client.registry import Collector

from app.http.calls import CLIENT_LEFT, Call

METRICS_TYPE = CONTENT_TYPE_PLAIN_0_0_4
# From a file of the page to the longest call: computing ends at about five seconds, and waits have an end too.
SECONDS = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, 30.0)
# A label for every word that a client makes up would fill the memory.
METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})
# Of a call that nobody waited for: no number, so that no rule for errors counts it.
LEFT = "client_left"


class Metrics:
    """Counts and times of the calls of one process, from its start."""

    def __init__(self) -> None:
        """Begin to count."""
        self._registry = CollectorRegistry()
        self._requests = Counter(
            "transit_requests", "Calls answered", ["method", "route", "status"], registry=self._registry
        )
        self._seconds = Histogram(
            "transit_request_seconds",
            "Time from the head of a call to the end of its answer",
            ["method", "route"],
            buckets=SECONDS,
            registry=self._registry,
        )
        self._queue_seconds = Histogram(
            "transit_queue_seconds",
            "Time that a call waited for a thread",
            ["pool"],
            buckets=SECONDS,
            registry=self._registry,
        )
        self._refused_keys = Counter("transit_keys_refused", "Keys refused", ["reason"], registry=self._registry)
        ProcessCollector(registry=self._registry)

    def note(self, call: Call, method: str, route: str, status: int, seconds: float) -> None:
        """Count a call that is answered."""
        method = method if method in METHODS else "other"
        self._requests.labels(method, route, LEFT if status == CLIENT_LEFT else str(status)).inc()
        self._seconds.labels(method, route).observe(seconds)
        for turn in call.turns:
            self._queue_seconds.labels(turn.pool).observe(turn.queue_seconds)
        if call.refused_key is not None:
            self._refused_keys.labels(call.refused_key).inc()

    def text(self, of_the_moment: Iterable[Metric]) -> bytes:
        """Return all that was measured, and what is so at this moment."""
        return generate_latest(_Together(self._registry, of_the_moment))


class _Together(Collector):
    """What was counted all along and what is found when it is asked for."""

    def __init__(self, counted: CollectorRegistry, found: Iterable[Metric]) -> None:
        self._counted, self._found = counted, found

    def collect(self) -> Iterator[Metric]:
        yield from self._counted.collect()
        yield from self._found
