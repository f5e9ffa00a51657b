"""The moment that every server of the tests takes for now: no test depends on the day on which it runs."""

from datetime import UTC, datetime

NOW = datetime(2027, 11, 26, 12, tzinfo=UTC)
