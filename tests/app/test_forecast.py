"""Forecasts from a weather service: a real server on loopback in this process, and what is said when it fails."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Event
from typing import Any

import pytest
from pydantic import ValidationError

from app.batch import forecast
from app.main import create_app
from app.settings import Settings
from tests.app.client import Client, running_client
from tests.app.weather_service import DAYS, serving


@contextmanager
def client_with(tmp_path: Path, **settings: Any) -> Iterator[Client]:
    with running_client(create_app(Settings(database_url=f"sqlite:///{tmp_path / 'a.db'}", **settings))) as client:
        yield client


@pytest.fixture(autouse=True)
def _no_proxy(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("no_proxy", "127.0.0.1")


def test_days_of_the_service_in_the_form_that_requests_take(tmp_path: Path) -> None:
    with serving(DAYS) as service, client_with(tmp_path, weather_url=service.template) as client:
        answer = client.get("/v1/forecast/DUB").json()
    # Dublin airport, as the table of places has it; the day without a minimum is left out.
    assert service.asked == ["/day?lat=53.4213&lon=-6.2701&tz=Europe%2FDublin"]
    assert answer["source"] == "service"
    assert answer["days"] == [
        {"date": "2027-01-12", "min_c": -2.5, "max_c": 4.0},
        {"date": "2027-01-14", "min_c": 1.0, "max_c": 6.5},
    ]


def test_paths_of_another_service(tmp_path: Path) -> None:
    other = {"places": [{"d": ["2027-01-12T00:00"], "lo": [1.5], "hi": [9.0]}]}
    paths = {"weather_dates": "places.0.d", "weather_minima": "places.0.lo", "weather_maxima": "places.0.hi"}
    with serving(other) as service, client_with(tmp_path, weather_url=service.template, **paths) as client:
        answer = client.get("/v1/forecast/DUB").json()
    assert answer["days"] == [{"date": "2027-01-12", "min_c": 1.5, "max_c": 9.0}]


@pytest.mark.parametrize(
    ("body", "status", "said"),
    [
        (DAYS, 503, "does not answer"),
        (b"<html>", 200, "cannot be read"),
        ({"daily": {"time": ["2027-01-12"]}}, 200, "cannot be read"),
        ({"daily": DAYS["daily"] | {"temperature_2m_min": [1]}}, 200, "cannot be read"),
        ({"daily": DAYS["daily"] | {"temperature_2m_max": [75, 75, 75]}}, 200, "cannot be read"),
        ({"daily": DAYS["daily"] | {"temperature_2m_max": [-30, 5, 6]}}, 200, "makes no sense"),
        ({"daily": DAYS["daily"] | {"time": ["2027-01-12"] * 3}}, 200, "makes no sense"),
        (b" " * (2**20 + 1), 200, "too much"),
    ],
)
def test_an_answer_that_cannot_be_used_falls_back_to_normals_and_says_so(
    tmp_path: Path, body: Any, status: int, said: str
) -> None:
    with serving(body, status=status) as service, client_with(tmp_path, weather_url=service.template) as client:
        response = client.get("/v1/forecast/DUB")
    answer = response.json()
    assert response.status_code == 200
    assert (answer["source"], answer["days"]) == ("normals", [])
    assert said in answer["reason"]
    assert "monthly normals" in answer["reason"]


def test_a_service_that_keeps_silent_is_not_waited_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(forecast, "TIMEOUT_S", 0.2)
    silent = Event()
    with serving(DAYS, hold=silent) as service, client_with(tmp_path, weather_url=service.template) as client:
        answer = client.get("/v1/forecast/DUB").json()
        silent.set()
    assert answer["source"] == "normals"
    assert "does not answer" in answer["reason"]


def test_without_a_setting_nothing_is_asked(tmp_path: Path) -> None:
    with serving(DAYS) as service, client_with(tmp_path) as client:
        answer = client.get("/v1/forecast/DUB").json()
    assert service.asked == []
    assert answer["reason"].startswith("No weather service is set")


@pytest.mark.parametrize("place", ["dub", "XQQ", "D" * 3000])
def test_a_place_that_is_not_known_is_refused(client: Client, place: str) -> None:
    response = client.get(f"/v1/forecast/{place}")
    assert response.status_code == 422
    assert [error["pointer"] for error in response.json()["errors"]] == ["/place"]


@pytest.mark.parametrize(
    "url",
    ["ftp://a/{latitude}{longitude}", "http://a/?lat={latitude}", "http://a/{latitude}{longitude}{key}", "file:///x"],
)
def test_a_url_that_could_not_work_is_refused_at_start(url: str) -> None:
    with pytest.raises(ValidationError, match="latitude"):
        Settings(weather_url=url)
