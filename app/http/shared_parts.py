"""JSON in which a part that stands twice is stored once: elsewhere ``{"$ref": "#/pointer"}`` stands for it.

The reference is a JSON pointer (RFC 6901) into the same text, as in JSON Schema.
"""

from typing import Any


def composed(whole: Any) -> Any:
    """Return the JSON value with its references replaced by what they stand for.

    Raises
    ------
    KeyError, IndexError
        If a reference points nowhere.
    """
    return _composed(whole, whole)


def _composed(part: Any, whole: Any) -> Any:
    if isinstance(part, dict):
        if part.keys() == {"$ref"}:
            return _composed(_at(part["$ref"].removeprefix("#"), whole), whole)
        return {key: _composed(value, whole) for key, value in part.items()}
    return [_composed(value, whole) for value in part] if isinstance(part, list) else part


def _at(pointer: str, whole: Any) -> Any:
    part = whole
    for token in pointer.split("/")[1:]:
        key = token.replace("~1", "/").replace("~0", "~")
        part = part[int(key)] if isinstance(part, list) else part[key]
    return part
