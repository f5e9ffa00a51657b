"""The image and the two processes behind a proxy, read as Docker and nginx read them: what is said of them is so."""

import ipaddress
import json
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import yaml

from app.cli.server import HEAD_SECONDS, KEEP_ALIVE_SECONDS, STOP_SECONDS
from app.main import create_app
from app.routes.shipments import CSV_LIMIT_BYTES
from app.settings import Settings, is_loopback
from tests.app.servers import thread_server

ROOT = Path(__file__).resolve().parents[2]
DOCKERFILE = (ROOT / "Dockerfile").read_text(encoding="utf-8")
NGINX = (ROOT / ".compose/nginx.conf").read_text(encoding="utf-8")
COMPOSE = yaml.safe_load((ROOT / ".compose/compose.yaml").read_text(encoding="utf-8"))
SERVICES: dict[str, Any] = COMPOSE["services"]
APIS = {name: service for name, service in SERVICES.items() if "build" in service}
DIGEST = r"\S+:[\w.-]*\d[\w.-]*@sha256:[0-9a-f]{64}"
PASSWORD = re.compile(r"\$\{DATABASE_PASSWORD:\?[^}]+\}")


def said(instruction: str) -> list[str]:
    """Return what follows an instruction of the Dockerfile, wherever it stands; long lines joined."""
    joined = re.sub(r"\s*\\\n\s*", " ", DOCKERFILE)
    return re.findall(rf"^{instruction} (.+)$", joined, flags=re.MULTILINE)


def seconds(text: str) -> float:
    found = re.fullmatch(r"(\d+)s", text)
    assert found, text
    return float(found[1])


def test_the_base_is_pinned_by_digest_and_the_user_is_not_root() -> None:
    bases = {line.partition(" AS ")[0] for line in said("FROM")}
    assert len(bases) == 1
    assert re.fullmatch(DIGEST, bases.pop())
    assert [line.split(":") for line in said("USER")] == [["10001", "10001"]]
    assert json.loads(said("CMD")[-1]) == ["python", "-m", "app", "serve"]


def test_the_ledger_is_on_the_volume(monkeypatch: pytest.MonkeyPatch) -> None:
    variables = dict(pair.split("=", 1) for pair in " ".join(said("ENV")).split())
    monkeypatch.setenv("TRANSIT_DATABASE_URL", variables["TRANSIT_DATABASE_URL"])
    file = Path(Settings().database_url.removeprefix("sqlite:///"))
    assert [str(file.parent)] == said("VOLUME")
    assert any(str(file.parent) in line and "--mode=0700" in line for line in said("RUN"))
    # Not where Python looks for modules first.
    assert said("WORKDIR")[-1] not in (str(file.parent), *map(str, file.parent.parents))


def health_checks() -> list[list[str]]:
    """Return the commands that tell whether a process of the API is ready: the image's and those of the services."""
    of_image = json.loads(said("HEALTHCHECK")[0].partition("CMD ")[2])
    [of_services] = {tuple(service["healthcheck"]["test"][1:]) for service in APIS.values()}
    return [of_image, list(of_services)]


def test_health_is_readiness_asked_for_by_what_is_in_the_image(tmp_path: Path) -> None:
    file = tmp_path / "ledger.db"
    with thread_server(create_app(Settings(database_url=f"sqlite:///{file}"))) as port:
        healths = [is_healthy(command, port) for command in health_checks()]
        file.write_bytes(b"no database, whatever its name says" * 9)
        healths += [is_healthy(command, port) for command in health_checks()]
    assert healths == [True, True, False, False]


def is_healthy(command: list[str], port: int) -> bool:
    """Run a health check for a server on another port than that of the image."""
    assert command[0] == "python"
    here = [part.replace("127.0.0.1:8000", f"127.0.0.1:{port}") for part in command[1:]]
    variables = os.environ | {"TRANSIT_PORT": str(port)}
    return subprocess.run([sys.executable, *here], env=variables, capture_output=True, check=False).returncode == 0


@pytest.mark.parametrize("name", SERVICES)
def test_no_service_is_root_writes_where_it_should_not_or_goes_unwatched(name: str) -> None:
    service = SERVICES[name]
    assert service["read_only"] is True
    assert re.fullmatch(r"[1-9]\d*:[1-9]\d*", service["user"])
    assert service["cap_drop"] == ["ALL"]
    assert service["security_opt"] == ["no-new-privileges:true"]
    assert service["tmpfs"][0].partition(":")[0] == "/tmp"  # noqa: S108 - of the container
    assert service["healthcheck"]["test"][0] == "CMD"
    assert "build" in service or re.fullmatch(DIGEST, service["image"])
    for waited_for in service.get("depends_on", {}).items():
        assert waited_for[0] in SERVICES
        assert waited_for[1] == {"condition": "service_healthy"}


def test_two_processes_share_a_database_and_only_the_proxy_is_reached() -> None:
    assert len(APIS) == 2
    assert SERVICES["proxy"]["depends_on"].keys() == APIS.keys()
    assert {name for name, service in SERVICES.items() if "ports" in service} == {"proxy"}
    assert all(is_loopback(port.partition(":")[0]) for port in SERVICES["proxy"]["ports"])
    assert COMPOSE["networks"]["inside"]["internal"] is True
    assert all(list(service["networks"]) == ["inside"] for name, service in SERVICES.items() if name != "proxy")
    kept = [place.split(":") for place in SERVICES["database"]["volumes"]]
    assert kept == [["database", "/var/lib/postgresql/data"]]
    assert COMPOSE["volumes"].keys() == {"database"}
    for service in APIS.values():
        assert seconds(service["stop_grace_period"]) > STOP_SECONDS


@pytest.mark.parametrize("name", APIS)
def test_the_settings_are_taken_and_trust_the_proxy_alone(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    environment = APIS[name]["environment"]
    for variable, value in environment.items():
        if variable.startswith("TRANSIT_"):
            assert variable.removeprefix("TRANSIT_").lower() in Settings.model_fields
            monkeypatch.setenv(variable, value)
    settings = Settings()
    assert not is_loopback(settings.host)
    assert settings.trusted_proxies == SERVICES["proxy"]["networks"]["inside"]["ipv4_address"]
    [place] = COMPOSE["networks"]["inside"]["ipam"]["config"]
    # The first address is that of the way out, which Docker keeps for itself.
    assert ipaddress.ip_address(settings.trusted_proxies) in list(ipaddress.ip_network(place["subnet"]).hosts())[1:]


def test_no_secret_stands_in_the_files() -> None:
    for service in SERVICES.values():
        for variable, value in service.get("environment", {}).items():
            assert "PASSWORD" not in variable or PASSWORD.fullmatch(value), variable
            assert not re.search(r"://[^/@]*:[^/@]*@", value), variable
    # The password's own file is left out of commits and images.
    for ignoring, pattern in ((".gitignore", ".env"), (".dockerignore", "**/.env")):
        assert pattern in (ROOT / ignoring).read_text(encoding="utf-8").splitlines()


def directive(name: str) -> str:
    """Return the value of an nginx directive that stands once."""
    [value] = re.findall(rf"^\s*{name}\s+([^;]+);", NGINX, flags=re.MULTILINE)
    return str(value)


def test_the_proxy_passes_on_what_the_service_counts_on() -> None:
    upstream = re.findall(r"^\s*server ([\w-]+):8000\b", NGINX, flags=re.MULTILINE)
    assert upstream == list(APIS)
    headers = dict(re.findall(r"^\s*proxy_set_header (\S+) ([^;]+);", NGINX, flags=re.MULTILINE))
    # Not added to what the client says of itself.
    assert headers["X-Forwarded-For"] == "$remote_addr"
    assert headers["Host"] == "$http_host"
    assert directive("proxy_request_buffering") == "off"
    assert directive("client_max_body_size") == f"{CSV_LIMIT_BYTES // 2**20}m"
    assert seconds(directive("keepalive_timeout")) < KEEP_ALIVE_SECONDS
    assert seconds(directive("client_header_timeout")) <= HEAD_SECONDS
    written = [directive(f"{kind}_temp_path") for kind in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")]
    assert all(place.startswith("/tmp/") for place in [directive("pid"), *written])  # noqa: S108 - of the container
    assert "location = /metrics" in NGINX
