"""What an operator sees and sets: the log, /metrics, and keys that expire, are slowed down and counted."""

import io
import json
import logging
import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from anyio.from_thread import start_blocking_portal
from prometheus_client.parser import text_string_to_metric_families
from starlette.responses import Response
from starlette.types import Receive, Scope, Send

from app.cli.key_commands import listed_keys, make_key
from app.http.call_log import COMPUTED, OF_CLIENT, OF_LEDGER, QUEUED, CallLog, slow_todo
from app.http.calls import Call, Turn, note_waiting
from app.http.rate_limits import RateLimits
from app.http.windows import MOST_NAMES, WINDOW_SECONDS
from app.http.wrong_keys import MOST_WRONG, WrongKeys, network_of
from app.log_lines import REQUEST_ID, JsonLines, TextLines
from app.main import create_app
from app.serving.refits import CUT_SHORT, end_refit, find_refit
from app.settings import Settings
from app.store.api_keys import list_keys
from app.store.database import Database
from app.store.model_versions import StoredVersion, add_version
from app.store.refits import DIED, LEASE, queue_refit
from tests.app.client import Client, running_client
from tests.app.fits import FITTED_AT, fitted
from tests.app.test_access import bearer
from tests.moments import NOW

QUOTA = 15
NOBODYS = f"transit_{'0' * 12}_{'0' * 64}"
GENERA = "/v1/genera"


@contextmanager
def log_lines() -> Iterator[list[dict[str, Any]]]:
    """Yield a list that holds the lines of the log of `app` once the block is over."""
    text, logger = io.StringIO(), logging.getLogger("app")
    handler = logging.StreamHandler(text)
    handler.setFormatter(JsonLines())
    lines: list[dict[str, Any]] = []
    before = logger.level
    logger.addHandler(handler)
    logger.setLevel(logging.INFO)
    try:
        yield lines
    finally:
        logger.removeHandler(handler)
        logger.setLevel(before)
        lines += [json.loads(line) for line in text.getvalue().splitlines()]


class Shop:
    """A running application whose ledger has keys, and a fitted version."""

    def __init__(self, client: Client, settings: Settings) -> None:
        """Take the client and its settings."""
        self.client, self.settings = client, settings

    def key(self, name: str, days: int | None = 365) -> str:
        """Make a key that the server knows at once."""
        key = make_key(self.settings, name, "write", days).split("\n")[0]
        self.client.app.state.keys.refresh()
        return key


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    settings = Settings(
        database_url=f"sqlite:///{tmp_path_factory.mktemp('operator') / 'ledger.db'}", key_calls_a_minute=QUOTA
    )
    model, arrays = fitted()
    with Database(settings.database_url) as ledger, ledger.writing() as connection:
        manifest = model.manifest.model_dump_json()
        add_version(connection, StoredVersion("fit-1", manifest, 1, True, NOW), arrays)
    with running_client(create_app(settings)) as client:
        yield Shop(client, settings)


def test_a_call_leaves_one_line_with_its_id_and_the_answer_has_it_too(shop: Shop) -> None:
    key = shop.key("greenhouse")
    with log_lines() as lines:
        answer = shop.client.get(GENERA, headers={"authorization": f"Bearer {key}", "x-request-id": "till-7/3"})
        shop.client.get(f"/v1/sellers/{key}?note={key}", **bearer(key))
        shop.client.get(f"/{key}", headers={"x-request-id": "no spaces, please"})
        body = {"queries": [{"genus": "Hoya", "transit_days": 6.125, "temperature": {"inside_c": 24}}]}
        assert shop.client.post("/v1/risk", json=body, **bearer(key)).status_code == 200
    assert answer.headers["x-request-id"] == "till-7/3"
    first, second, third, risk = lines
    assert {name: first[name] for name in ("level", "event", "request_id", "key", "route", "status")} == {
        "level": "info", "event": "call", "request_id": "till-7/3", "key": "greenhouse", "route": GENERA, "status": 200,
    }  # fmt: skip
    assert 0.0 <= first["queue_ms"] <= first["duration_ms"]
    assert re.fullmatch(r"20\d\d-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}\+00:00", first["time"])
    assert second["route"] == "/v1/sellers/{name}"
    assert re.fullmatch(r"[0-9a-f]{32}", third["request_id"]), "what is no valid id is not taken"
    assert risk["route"] == "/v1/risk"
    said = json.dumps(lines)
    assert key.rsplit("_", 1)[1] not in said
    assert "6.125" not in said


@pytest.mark.parametrize(
    ("turns", "todo"),
    [
        ([Turn("computing", 4.0, 1.0)], QUEUED),
        ([Turn("computing", 0.1, 5.0)], COMPUTED),
        ([Turn("reading", 0.0, 0.1), Turn("changing", 0.1, 5.0)], OF_LEDGER),
        ([Turn("quick", 0.0, 0.1)], OF_CLIENT),
        ([], OF_CLIENT),
    ],
)
def test_a_slow_call_says_what_to_do_by_where_its_time_went(turns: list[Turn], todo: str) -> None:
    assert slow_todo(Call("id", turns=turns), 6.0) == todo


def test_a_slow_call_leaves_one_line_unless_its_caller_asked_to_wait(tmp_path: Path) -> None:
    settings = Settings(database_url=f"sqlite:///{tmp_path / 'ledger.db'}", slow_seconds=1e-9)

    async def waits(scope: Scope, receive: Receive, send: Send) -> None:
        note_waiting()
        await Response()(scope, receive, send)

    async def nothing(*_message: object) -> Any:
        return {"type": "http.disconnect"}

    with running_client(create_app(settings)) as client, log_lines() as lines, start_blocking_portal() as portal:
        client.get(GENERA)
        scope = {"type": "http", "method": "GET", "path": "/", "headers": [], "app": client.app}
        portal.call(CallLog(waits, slow_seconds=1e-9, files="/page"), scope, nothing, nothing)
    slow, waited = lines
    assert (slow["event"], slow["level"], slow["route"], bool(slow["todo"])) == ("slow_call", "warning", GENERA, True)
    assert (waited["event"], "todo" in waited) == ("call", False)


def test_a_client_that_left_is_no_fault_of_the_server(tmp_path: Path) -> None:
    """A tab closed while it loads a file, by ASGI 2.3 as the server speaks it, and one that leaves within its body."""
    settings = Settings(database_url=f"sqlite:///{tmp_path / 'ledger.db'}")

    async def leaves() -> Any:
        return {"type": "http.disconnect"}

    async def unheard(_message: Any) -> None:
        pass

    async def faulty(_scope: Scope, receive: Receive, _send: Send) -> None:
        await receive()
        raise ValueError("a fault, whoever listens")

    headers = [(b"host", b"127.0.0.1:8000")]
    scope = {"type": "http", "asgi": {"spec_version": "2.3"}, "headers": headers, "query_string": b"", "root_path": ""}
    with running_client(create_app(settings)) as client, log_lines() as lines, start_blocking_portal() as portal:
        asked = scope | {"app": client.app}
        loaded = {**asked, "method": "GET", "path": "/page/main.js"}
        posted = {**asked, "method": "POST", "path": "/v1/risk"}
        for call in (loaded, posted):
            client.start_task(partial(client.app, call, leaves, unheard)).result()
        metrics = client.get("/metrics").text
        with pytest.raises(ValueError, match="a fault"):
            portal.call(
                CallLog(faulty, slow_seconds=9.0, files="/page"),
                {**asked, "method": "GET", "path": "/"},
                leaves,
                unheard,
            )
    told = {line["route"]: (line["status"], line["event"], line["level"]) for line in lines}
    assert told["/page/{file}"] == (499, "client_left", "info")
    assert told["/v1/risk"] == (499, "client_left", "info")
    assert told["(none)"] == (500, "call", "warning")
    assert 'status="client_left"' in metrics
    assert 'status="500"' not in metrics


def test_a_wrong_key_leaves_one_line_and_an_address_with_many_has_to_wait(shop: Shop) -> None:
    known, new = shop.key("known here"), shop.key("new here")
    here, elsewhere = shop.client.at("192.0.2.7"), shop.client.at("192.0.2.8")
    assert here.get(GENERA, **bearer(known)).status_code == 200
    with log_lines() as lines:
        answers = [here.get(GENERA, **bearer(NOBODYS)) for _ in range(MOST_WRONG + 1)]
    assert [answer.status_code for answer in answers] == [401] * MOST_WRONG + [429]
    assert [line["event"] for line in lines] == ["key_refused"] * (MOST_WRONG + 1)
    assert all(line["level"] == "warning" and line["todo"] and line["address"] == "192.0.2.7" for line in lines)
    assert "0" * 64 not in json.dumps(lines)
    last = answers[-1]
    assert (last.headers["content-type"], last.json()["code"]) == ("application/problem+json", "too_many_calls")
    assert 1 <= int(last.headers["retry-after"]) <= WINDOW_SECONDS
    # A right key that nobody has used from here may be a guess; one that was right before is not held up.
    assert here.get(GENERA, **bearer(new)).status_code == 429
    assert here.get(GENERA, **bearer(known)).status_code == 200
    assert here.get("/health").status_code == 200
    assert elsewhere.get(GENERA, **bearer(new)).status_code == 200


def test_wrong_keys_are_counted_by_address_for_a_minute_in_bounded_memory() -> None:
    now = 100.0
    wrong = WrongKeys(clock=lambda: now)
    for _ in range(MOST_WRONG):
        assert wrong.wait_seconds("2001:db8::1", None) == 0
        wrong.note_wrong("2001:db8::1")
    now += 20.5
    # RFC 3849 and RFC 5737: addresses for documentation. The first two are of one network of 64 bits.
    assert [wrong.wait_seconds(a, None) for a in ("2001:db8::2", "2001:db8:0:1::1", "192.0.2.1")] == [40, 0, 0]
    now = 100.0 + WINDOW_SECONDS
    assert wrong.wait_seconds("2001:db8::1", None) == 0
    for i in range(2 * MOST_NAMES):
        wrong.note_wrong(f"10.0.{i // 256}.{i % 256}")
    assert len(wrong) == MOST_NAMES
    assert network_of("::ffff:192.0.2.7") == network_of("192.0.2.7")


def test_a_key_may_make_so_many_calls_a_minute_and_is_told(shop: Shop) -> None:
    key, other = shop.key("busy"), shop.key("quiet")
    answers = [shop.client.get(GENERA, **bearer(key)) for _ in range(QUOTA)]
    assert {answer.headers["ratelimit-policy"] for answer in answers} == {f'"key";q={QUOTA};w=60'}
    left = [re.fullmatch(r'"key";r=(\d+);t=(\d+)', answer.headers["ratelimit"]) for answer in answers]
    assert [int(found[1]) for found in left if found] == list(range(QUOTA - 1, -1, -1))
    with log_lines() as lines:
        refused = shop.client.get(GENERA, **bearer(key))
    assert (refused.status_code, refused.json()["code"]) == (429, "too_many_calls")
    assert refused.headers["ratelimit"] == f'"key";r=0;t={refused.headers["retry-after"]}'
    assert [(line["event"], line["key"], bool(line["todo"])) for line in lines] == [("key_refused", "busy", True)]
    assert shop.client.get(GENERA, **bearer(other)).headers["ratelimit"].startswith(f'"key";r={QUOTA - 1};')


def test_a_window_of_calls_begins_with_its_first_and_ends_a_minute_later() -> None:
    now = 0.0
    limits = RateLimits(1, clock=lambda: now)
    assert limits.take("a") == (1, 0, 60, True)
    now = 59.5
    assert limits.take("a") == (1, 0, 1, False)
    assert limits.take("b") == (1, 0, 60, True)
    now = 60.0
    assert limits.take("a") == (1, 0, 60, True)
    assert RateLimits(0).take("a") is None


def test_a_key_expires_and_its_last_use_is_kept(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    ring, key, old = shop.client.app.state.keys, shop.key("lasting", None), shop.key("passing", 30)
    assert shop.client.get(GENERA, **bearer(old)).status_code == 200
    monkeypatch.setattr(ring, "_now", lambda: NOW + timedelta(days=30))
    with log_lines() as lines:
        refused = shop.client.get(GENERA, **bearer(old))
        assert shop.client.get(GENERA, **bearer(key)).status_code == 200
    assert refused.status_code == 401
    assert "expired" in refused.json()["detail"]
    assert [line.get("key") for line in lines if line["event"] == "key_refused"] == ["passing"]
    ring.write_uses()
    with Database(shop.settings.database_url) as ledger, ledger.reading() as connection:
        kept = {stored.name: stored for stored in list_keys(connection)}
    assert (kept["passing"].expires_at, kept["passing"].last_used_at) == (NOW + timedelta(days=30), NOW)
    assert (kept["lasting"].expires_at, kept["lasting"].last_used_at) == (None, NOW + timedelta(days=30))
    rows = {line.split()[-1]: line for line in listed_keys(shop.settings).splitlines()}
    assert "2027-12-26" in rows["passing"]
    assert "never" in rows["lasting"]


def test_metrics_count_by_template_and_tell_model_and_ledger(shop: Shop) -> None:
    key = shop.key("prometheus")
    assert shop.client.get("/metrics").status_code == 401
    shop.client.get("/v1/sellers/nobody", **bearer(key))
    for path in (f"/{key}", "/page/main.js"):
        shop.client.get(path)
    answer = shop.client.get("/metrics", **bearer(key))
    assert answer.headers["content-type"].startswith("text/plain; version=0.0.4")
    found = {
        (sample.name, *(value for _, value in sorted(sample.labels.items()))): sample.value
        for family in text_string_to_metric_families(answer.text)
        for sample in family.samples
    }
    assert found["transit_requests_total", "GET", "/v1/sellers/{name}", "404"] >= 1
    assert found["transit_request_seconds_count", "GET", "/v1/sellers/{name}"] >= 1
    assert found["transit_requests_total", "GET", "/page/{file}", "200"] == 1
    assert found["transit_queue_seconds_count", "reading"] >= 1
    assert found["transit_queue_calls", "computing"] == 0
    assert found["transit_ledger_up",] == 1
    assert 0 < found["transit_keys_expire_seconds",] <= timedelta(days=365).total_seconds()
    assert found["transit_ledger_bytes",] > 0
    assert found["transit_model", "fit-1"] == 1
    assert found["transit_model_age_seconds",] == (NOW - FITTED_AT).total_seconds()
    assert key not in answer.text


def test_metrics_are_told_without_a_ledger(tmp_path: Path) -> None:
    file = tmp_path / "ledger.db"
    with running_client(create_app(Settings(database_url=f"sqlite:///{file}"))) as client:
        file.write_bytes(b"no database, whatever its name says" * 9)
        text = client.get("/metrics").text
    assert "transit_ledger_up 0.0" in text
    assert "transit_queue_calls" in text


def test_a_failed_refit_leaves_one_line(tmp_path: Path) -> None:
    with Database(f"sqlite:///{tmp_path / 'ledger.db'}") as ledger:
        with ledger.writing() as connection:
            cut, _ = queue_refit(connection, now=NOW)
        with log_lines() as lines:
            end_refit(ledger, cut.id, CUT_SHORT)
        [line] = lines
        assert (line["event"], line["level"], line["refit"]) == ("refit_failed", "error", cut.id)
        assert line["todo"].startswith("nothing")
        with ledger.writing() as connection:
            dead, _ = queue_refit(connection, now=NOW - 2.0 * LEASE - timedelta(days=9_000))
        with log_lines() as lines:
            assert find_refit(ledger, dead.id).reason == DIED
        [line] = lines
        assert (line["refit"], "python -m app refit" in line["todo"]) == (dead.id, True)


def test_an_event_is_one_line_whatever_is_in_it() -> None:
    try:
        raise ValueError("two\nlines")
    except ValueError:
        record = logging.getLogger("app").makeRecord(
            "app", logging.ERROR, "", 0, "a\nb %s", ("c\x1b[2J",), sys.exc_info(), extra={"todo": "mend it"}
        )
    line = JsonLines().format(record)
    assert len(line.splitlines()) == 1
    assert "two\nlines" in json.loads(line)["exc_info"]
    record.exc_info = record.exc_text = None
    token = REQUEST_ID.set("till-7")
    text = TextLines().format(record)
    REQUEST_ID.reset(token)
    assert text.endswith("ERROR   a\\u000ab c\\u001b[2J To do: mend it [till-7]")
