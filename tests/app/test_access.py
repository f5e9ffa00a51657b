"""Keys: what they open, what is kept of them, and how soon one that is made or revoked counts."""

import hashlib
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from importlib import import_module
from pathlib import Path
from pkgutil import iter_modules
from typing import Any

import pytest
from sqlalchemy import event, select

import app.routes
from app.cli.key_commands import clear, listed_keys, make_key, revoke
from app.http.access import COMPUTING_PATHS
from app.http.api_keys import PATTERN, STALE_SECONDS, KeyRing, new_key
from app.http.openapi import examples
from app.main import create_app
from app.problems import NotFound, StoreUnavailable
from app.settings import Settings
from app.store.api_keys import Scope, StoredKey, add_key, forget_keys, list_keys, revoke_key
from app.store.database import Database
from app.store.schema import api_keys
from tests.app.client import Client, running_client
from tests.app.ledger_files import csv_bytes, row

NOW = datetime(2027, 3, 1, 8, 0, tzinfo=UTC)
RISK = examples()["risk"]["request"]
NOBODYS = f"transit_{'0' * 12}_{'0' * 64}"


def make(database: Database, scope: Scope = "write", name: str = "greenhouse") -> tuple[str, StoredKey]:
    """Store a new key and return it with what is stored of it."""
    key, stored = new_key(name, scope, now=NOW)
    with database.writing() as connection:
        add_key(connection, stored)
    return key, stored


def bearer(key: str) -> dict[str, Any]:
    return {"headers": {"authorization": f"Bearer {key}"}}


@contextmanager
def served(url: str, host: str = "127.0.0.1") -> Iterator[Client]:
    with running_client(create_app(Settings(database_url=url, host=host))) as client:
        yield client


def test_only_the_hash_of_a_secret_is_kept(database: Database) -> None:
    key, _ = make(database)
    match = PATTERN.fullmatch(key)
    assert match is not None
    key_id, secret = match.groups()
    assert len(bytes.fromhex(secret)) == 32
    with database.reading() as connection:
        [kept] = connection.execute(select(api_keys)).all()
    assert kept.secret_sha256 == hashlib.sha256(secret.encode()).hexdigest()
    assert (kept.id, kept.name, kept.scope, kept.created_at) == (key_id, "greenhouse", "write", NOW)
    assert secret not in str(kept)
    assert new_key("another", "read", now=NOW)[0] != new_key("another", "read", now=NOW)[0]


def test_without_keys_no_key_is_asked_for(ledger_client: Client) -> None:
    assert ledger_client.get("/v1/genera").status_code == 200
    assert ledger_client.get("/v1/genera", **bearer(NOBODYS)).status_code == 200


def test_a_key_opens_by_its_scope(database: Database, database_url: str) -> None:
    reading, _ = make(database, "read")
    writing, _ = make(database, "write")
    with served(database_url) as client:
        calls: list[tuple[str, str, dict[str, Any]]] = [
            ("GET", "/v1/genera", {}),
            ("GET", "/v1/shipments/export", {}),
            *(("POST", f"/v1/{name.replace('_', '-')}", {"json": examples()[name]["request"]})
              for name in ("risk", "compare", "hold", "order_size")),
        ]  # fmt: skip
        for method, path, body in calls:
            refused = client.request(method, path, **body)
            assert (refused.status_code, refused.json()["code"]) == (401, "unauthorized"), path
            assert refused.headers["content-type"] == "application/problem+json"
            assert refused.headers["www-authenticate"] == 'Bearer realm="transit"'
            for key in (reading, writing):
                assert client.request(method, path, **body, **bearer(key)).status_code == 200, path
        changes = [
            ("POST", "/v1/shipments/import"),
            ("POST", "/v1/model/refit"),
            ("POST", "/v1/model/versions/any/activate"),
            ("PUT", "/v1/sellers/any"),
            ("DELETE", "/v1/shipments/any"),
            ("PATCH", "/v1/shipments/any"),
            ("POST", "/v1/risk/"),
        ]
        for method, path in changes:
            refused = client.request(method, path, **bearer(reading))
            assert (refused.status_code, refused.json()["code"]) == (403, "forbidden"), path
            assert refused.headers["www-authenticate"].endswith('error="insufficient_scope", scope="write"')
            assert client.request(method, path, **bearer(writing)).status_code not in (401, 403), path
        sent = client.post("/v1/shipments/import", content=csv_bytes(row()), **bearer(writing))
        assert (sent.status_code, sent.json()["added"]) == (200, 1)


def test_what_holds_nothing_of_the_ledger_stays_open(database: Database, database_url: str) -> None:
    make(database)
    with served(database_url) as client:
        for path in ("/health", "/docs", "/openapi.json"):
            assert client.get(path).status_code == 200
        assert client.get("/").status_code in (200, 404)
        for path in ("/v1", "/v1/", "/v1/nothing", "/v1/genera"):
            assert client.get(path).status_code == 401


def test_every_route_that_is_open_only_reads() -> None:
    """A call that changes or shows something of the ledger belongs below /v1."""
    modules = [import_module(f"app.routes.{found.name}") for found in iter_modules(app.routes.__path__)]
    routes = [route for module in modules if hasattr(module, "router") for route in module.router.routes]
    assert len(routes) > 10
    outside = [route for route in routes if not route.path.startswith("/v1/")]
    assert {"/health", "/docs", "/openapi.json"} <= {route.path for route in outside}
    assert all(getattr(route, "methods", {"GET"}) <= {"GET", "HEAD"} for route in outside)
    assert {route.path for route in routes} >= COMPUTING_PATHS - {"/v1/wish-list"}


@pytest.mark.parametrize(
    "header",
    [
        "",
        "Bearer",
        "Bearer ",
        f"Bearer {NOBODYS}",
        "Basic dXNlcjpwYXNz",
        "Token {key}",
        "{key}",
        "Bearer {key}0",
        "Bearer {key} {key}",
        "Bearer {other}",
        "Bearer {upper}",
    ],
)
def test_what_is_not_the_key_is_refused(database: Database, database_url: str, header: str) -> None:
    key, stored = make(database)
    other = f"transit_{stored.id}_{'0' * 64}"
    sent = header.format(key=key, other=other, upper=key.upper())
    with served(database_url) as client:
        refused = client.get("/v1/genera", headers={"authorization": sent})
        assert (refused.status_code, refused.json()["code"]) == (401, "unauthorized")
        assert refused.headers["www-authenticate"] == 'Bearer realm="transit", error="invalid_token"'
        assert key not in refused.text
        twice = [("authorization", f"Bearer {key}")] * 2
        assert client.get("/v1/genera", headers=twice).status_code == 401
        assert client.get("/v1/genera", headers={"authorization": f"bearer  {key}"}).status_code == 200


def test_keys_free_the_name_but_not_foreign_pages(database: Database, database_url: str) -> None:
    key, _ = make(database)
    with served(database_url) as client:
        by_name = {"host": "plants.example", "authorization": f"Bearer {key}"}
        assert client.post("/v1/risk", json=RISK, headers=by_name).status_code == 200
        own = by_name | {"origin": "https://plants.example"}
        assert client.post("/v1/risk", json=RISK, headers=own).status_code == 200
        foreign = by_name | {"origin": "https://shop.example"}
        refused = client.post("/v1/risk", json=RISK, headers=foreign)
        assert (refused.status_code, refused.json()["code"]) == (403, "forbidden")


def test_a_server_that_others_can_reach_always_asks_for_a_key(database_url: str) -> None:
    with served(database_url, host="192.0.2.1") as client:
        assert client.get("/v1/genera").status_code == 401
        assert client.get("/health", headers={"host": "plants.example"}).status_code == 200


def test_the_last_key_revoked_opens_nothing(database: Database, database_url: str) -> None:
    key, stored = make(database)
    with database.writing() as connection:
        revoke_key(connection, stored.id, now=NOW)
    with served(database_url) as client:
        assert client.get("/v1/genera", **bearer(key)).status_code == 401
        assert client.get("/v1/genera").status_code == 401


def test_a_key_counts_once_it_is_looked_up(database: Database) -> None:
    ring = KeyRing(database, always=False)
    ring.refresh()
    assert not ring.needed
    key, stored = make(database)
    ring.refresh()
    assert ring.needed
    assert ring.current().find(key) == stored
    with database.writing() as connection:
        assert revoke_key(connection, stored.id, now=NOW) == stored
    assert ring.current().find(key) == stored
    ring.refresh()
    assert ring.current().find(key) is None
    assert ring.needed
    with database.writing() as connection:
        assert forget_keys(connection) == 1
    ring.refresh()
    assert not ring.needed


def test_keys_not_looked_up_for_long_are_not_trusted(tmp_path: Path) -> None:
    """The file is gone, or is no database: whether a key was revoked meanwhile cannot be known."""
    now = 0.0
    file = tmp_path / "ledger.db"
    with Database(f"sqlite:///{file}") as database:
        key, stored = make(database)
        ring = KeyRing(database, always=False, clock=lambda: now)
        ring.refresh()
        now = STALE_SECONDS
        assert ring.current().find(key) == stored
        ring.refresh()
        database.close()
        for companion in ("", "-wal", "-shm"):
            Path(f"{file}{companion}").unlink(missing_ok=True)
        now = 2.0 * STALE_SECONDS
        ring.refresh()
        assert ring.current().find(key) == stored
        now += 0.1
        with pytest.raises(StoreUnavailable):
            ring.current()
        file.write_bytes(b"no database, whatever its name says" * 9)
        ring.refresh()
        with pytest.raises(StoreUnavailable):
            ring.current()
        assert ring.needed


def test_no_call_costs_a_query(database: Database, database_url: str) -> None:
    key, _ = make(database)
    statements: list[str] = []
    with served(database_url) as client:
        engine = client.app.state.database.engine
        client.get("/v1/genera", **bearer(key))
        looks = "FROM api_keys"
        event.listen(engine, "before_cursor_execute", lambda *call: statements.append(call[2]))
        n_calls = 200
        for _ in range(n_calls):
            assert client.get("/v1/nothing", **bearer(key)).status_code == 404
    # What remains are looks once a second, whatever is called.
    assert sum(looks in statement for statement in statements) < n_calls / 4


def test_commands_make_list_revoke_and_clear(database: Database, database_url: str) -> None:
    settings = Settings(database_url=database_url)
    assert listed_keys(settings).startswith("There are no keys")
    shown, *_ = make_key(settings, "till", "read").splitlines()
    match = PATTERN.fullmatch(shown)
    assert match is not None
    key_id, secret = match.groups()
    listed = listed_keys(settings)
    assert (key_id in listed, "till" in listed, secret in listed) == (True, True, False)
    assert "is revoked" in revoke(settings, key_id)
    with database.reading() as connection:
        [revoked] = list_keys(connection)
    assert "was revoked already" in revoke(settings, key_id)
    with database.reading() as connection:
        assert list_keys(connection) == [revoked]
    assert "No key is valid" in listed_keys(settings)
    with pytest.raises(NotFound):
        revoke(settings, "0" * 12)
    assert clear(settings).startswith("Keys forgotten: 1.")
    assert listed_keys(settings).startswith("There are no keys")


@pytest.mark.parametrize("path", ["/health", "/docs", "/openapi.json", "/v1/genera", "/v1/nothing", "/nothing"])
def test_browsers_are_told_to_be_strict(client: Client, path: str) -> None:
    headers = client.get(path).headers
    policy = dict(part.strip().partition(" ")[::2] for part in headers["content-security-policy"].split(";"))
    assert policy["default-src"] in ("'self'", "'none'")
    assert policy["frame-ancestors"] == "'none'"
    assert "unsafe" not in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "no-referrer"


def test_a_refusal_of_a_foreign_page_is_strict_too(client: Client) -> None:
    refused = client.get("/health", headers={"origin": "https://shop.example"})
    assert (refused.status_code, refused.headers["x-content-type-options"]) == (403, "nosniff")
