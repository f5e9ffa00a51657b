"""Round the routes: keys, limits, guards, log, metrics, problems, the OpenAPI document, bytes in and out.

Rooms for tasks never import it.
"""

from app.http.access import NeedsKey, keys_needed
from app.http.api_keys import KeyRing, new_key
from app.http.body_limits import BodyLimits
from app.http.call_log import CallLog
from app.http.calls import note_waiting
from app.http.conditions import conditions_of, is_known
from app.http.docs_page import DOCS_HEADERS, docs_page
from app.http.exchange import exchange, in_worker, is_json
from app.http.framing import OneLength
from app.http.guards import LoopbackOnly
from app.http.metrics import METRICS_TYPE, Metrics
from app.http.negotiation import prefers_csv, prefers_html
from app.http.openapi import CSV_TYPE, declared, openapi_document
from app.http.pools import Pool, Pools, pools_of
from app.http.problem_handlers import add_problem_handlers, csv_refusal
from app.http.rate_limits import RateLimits
from app.http.security_headers import SecurityHeaders
from app.http.wrong_keys import WrongKeys

__all__ = [
    "CSV_TYPE",
    "DOCS_HEADERS",
    "METRICS_TYPE",
    "BodyLimits",
    "CallLog",
    "KeyRing",
    "LoopbackOnly",
    "Metrics",
    "NeedsKey",
    "OneLength",
    "Pool",
    "Pools",
    "RateLimits",
    "SecurityHeaders",
    "WrongKeys",
    "add_problem_handlers",
    "conditions_of",
    "csv_refusal",
    "declared",
    "docs_page",
    "exchange",
    "in_worker",
    "is_json",
    "is_known",
    "keys_needed",
    "new_key",
    "note_waiting",
    "openapi_document",
    "pools_of",
    "prefers_csv",
    "prefers_html",
]
