"""The log: one line an event, as JSON for programs or as text for a person at a terminal.

Every line has a time, a level, an event and a message; lines of a call have its request id, and where somebody should
act, `todo` says what to do. No line holds a key's secret, what a call sent, or what was counted in a box.
"""

import logging
import sys
from contextvars import ContextVar
from logging.config import dictConfig
from typing import Any, Literal

from pythonjsonlogger.json import JsonFormatter

LogFormat = Literal["auto", "json", "text"]

REQUEST_ID: ContextVar[str | None] = ContextVar("request_id", default=None)
"""The id of the call that is being answered."""
REQUEST_ID_HEADER = "X-Request-ID"

# What uvicorn adds for terminals in colour.
_LEFT_OUT = {"color_message", "levelname", "name", "time"}
_USUAL_EVENT = "notice"


class JsonLines(JsonFormatter):
    """A line as one JSON object, what every line has first; a traceback is in `exc_info`."""

    def __init__(self) -> None:
        """Take what every line has from its record."""
        super().__init__(["levelname", "name", "message"], timestamp="time")

    def process_log_record(self, log_data: dict[str, Any]) -> dict[str, Any]:
        """Put the fields in order, and add the request id of the call that the line is of, if any."""
        line = {
            "time": log_data["time"].isoformat(timespec="milliseconds"),
            "level": log_data["levelname"].lower(),
            "logger": log_data["name"],
            "event": log_data.pop("event", _USUAL_EVENT),
            "message": log_data.pop("message"),
        }
        if (request_id := REQUEST_ID.get()) is not None:
            line["request_id"] = request_id
        return line | {name: value for name, value in log_data.items() if name not in _LEFT_OUT}


class TextLines(logging.Formatter):
    """A line as text: time, level, message, what to do, request id; a traceback follows in lines of its own."""

    def __init__(self) -> None:
        """Take the form of a line."""
        super().__init__("%(asctime)s %(levelname)-7s %(message)s", "%Y-%m-%d %H:%M:%S")

    def formatMessage(self, record: logging.LogRecord) -> str:  # noqa: N802 - the name of the method it replaces
        """Return the line, whatever is not printable in it escaped, so that one event stays one line."""
        line = super().formatMessage(record)
        if todo := getattr(record, "todo", None):
            line += f" To do: {todo}"
        if (request_id := REQUEST_ID.get()) is not None:
            line += f" [{request_id}]"
        return "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in line)


def log_config(log_format: LogFormat) -> dict[str, Any]:
    """Return the configuration of the log, for `logging.config.dictConfig`: all of it goes to standard error.

    ``auto`` is text where that is a terminal and JSON elsewhere: in a file, a container or under a service manager.
    """
    as_text = log_format == "text" or (log_format == "auto" and sys.stderr.isatty())
    logger = {"handlers": ["standard_error"], "level": "INFO", "propagate": False}
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {"lines": {"()": TextLines if as_text else JsonLines}},
        "handlers": {
            "standard_error": {
                "class": "logging.StreamHandler",
                "formatter": "lines",
                "stream": "ext://sys.stderr",
            }
        },
        "loggers": {"uvicorn": logger, "app": logger},
    }


def set_up_log(log_format: LogFormat) -> None:
    """Send the log of this process to standard error, as `log_config` says."""
    dictConfig(log_config(log_format))
