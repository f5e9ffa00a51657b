"""JSON texts that are refused before anything is read off them: ambiguous ones, and such as no request needs."""

import json
from typing import Any

from app.problems import MAX_TOKEN_CHARACTERS, FieldError, InvalidInput, MalformedJson

# The largest object of any request is a forecast, by place; the longest lists are days of outside air.
MOST_FIELDS = 1_000
MOST_VALUES = 1_000_000


def check_json(data: bytes) -> set[str] | None:
    """Return the fields of a JSON text that is an object, None where it is none or no JSON at all.

    It is refused where it names a field twice in one object, or holds more than any request needs.

    Of two values of one field, programs take the first, the last or neither. It costs about as much as reading the
    text, and keeps nothing of it.

    Raises
    ------
    MalformedJson
        If a field stands twice in one object (RFC 8259, section 4).
    InvalidInput
        If it has too many values, or an object with too many fields.
    """
    # Every value but the first of a list or an object has a comma before it.
    if data.count(b",") > MOST_VALUES:
        raise InvalidInput([FieldError("", f"must hold at most {MOST_VALUES:,} values")])
    try:
        names = json.loads(data.decode(), object_pairs_hook=_check_fields)
    except (ValueError, RecursionError):
        return None
    return names if isinstance(names, set) else None


def _check_fields(pairs: list[tuple[str, Any]]) -> set[str]:
    """Return the names of an object's fields, and keep nothing of its values."""
    if len(pairs) > MOST_FIELDS:
        raise InvalidInput([FieldError("", f"must not have an object with more than {MOST_FIELDS:,} fields")])
    names = {name for name, _ in pairs}
    if len(names) == len(pairs):
        return names
    seen: set[str] = set()
    twice = next(name for name, _ in pairs if name in seen or seen.add(name))  # type: ignore[func-returns-value]
    told = f"the field {twice}" if len(twice) <= MAX_TOKEN_CHARACTERS else "a field"
    raise MalformedJson(f"{told} stands twice in one object")
