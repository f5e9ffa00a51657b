"""A weather service on loopback, in the process of the tests."""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Event, Thread
from typing import Any

DAYS = {
    "daily": {
        "time": ["2027-01-12", "2027-01-13", "2027-01-14"],
        "temperature_2m_min": [-2.5, None, 1],
        "temperature_2m_max": [4, 5, 6.5],
    }
}


class WeatherServer:
    """A weather service that gives one answer and remembers what was asked."""

    def __init__(self, body: bytes, status: int = 200, hold: Event | None = None) -> None:
        self.asked: list[str] = []
        service = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                service.asked.append(self.path)
                if hold is not None:
                    hold.wait()
                self.send_response(status)
                self.send_header("Content-Length", str(len(body)))
                self.end_headers()
                self.wfile.write(body)

            def log_message(self, *_: object) -> None:
                """Say nothing."""

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)

    @property
    def template(self) -> str:
        """The URL to set."""
        return f"http://127.0.0.1:{self.server.server_port}/day?lat={{latitude}}&lon={{longitude}}&tz={{time_zone}}"


@contextmanager
def serving(body: Any, **arguments: Any) -> Iterator[WeatherServer]:
    service = WeatherServer(body if isinstance(body, bytes) else json.dumps(body).encode(), **arguments)
    thread = Thread(target=service.server.serve_forever)
    thread.start()
    try:
        yield service
    finally:
        service.server.shutdown()
        thread.join()
        service.server.server_close()
