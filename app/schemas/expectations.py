"""What a field should have been, in plain words, read off its JSON schema.

The schema already holds every bound, so a message states the whole range whichever side was missed and cannot
drift from what is checked.
"""

from collections.abc import Mapping, Sequence
from difflib import get_close_matches
from typing import Any

from app.problems import MAX_TOKEN_CHARACTERS

TYPE_WORDS = {"integer": "a whole number", "number": "a number", "boolean": "true or false", "null": "null"}

Schema = Mapping[str, Any]


def resolve(schema: Schema, root: Schema) -> Schema:
    """Follow references and drop the null branch of a nullable schema."""
    while True:
        if "$ref" in schema:
            schema = root["$defs"][schema["$ref"].rsplit("/", 1)[1]]
        elif "anyOf" in schema:
            schema = next(branch for branch in schema["anyOf"] if branch.get("type") != "null")
        else:
            return schema


def schema_at(location: Sequence[str | int], root: Schema) -> tuple[list[str | int], Schema | None, bool]:
    """Walk a validation location down a JSON schema.

    Returns the location without the tags of unions, the schema there (None where the schema has no such field) and
    whether null is allowed there.
    """
    path: list[str | int] = []
    node: Schema | None = root
    for step in location:
        if node is None:
            path.append(step)
            continue
        node = resolve(node, root)
        if "oneOf" in node:
            node = next(b for b in (resolve(b, root) for b in node["oneOf"]) if b["title"] == step)
            continue
        path.append(step)
        if isinstance(step, int):
            node = node.get("items")
        else:
            node = node.get("properties", {}).get(step, node.get("additionalProperties") or None)
    nullable = node is not None and any(branch.get("type") == "null" for branch in node.get("anyOf", ()))
    return path, None if node is None else resolve(node, root), nullable


def _number(value: float) -> str:
    return f"{int(value):,}" if value == int(value) else f"{value:,}"


def _bounds(low: float | None, over: float | None, high: float | None) -> str:
    if high is None:
        if low is None and over is None:
            return ""
        return f"{_number(low)} or more" if low is not None else f"over {_number(over or 0)}"
    if over is not None:
        return f"over {_number(over)} to {_number(high)}"
    return f"up to {_number(high)}" if low is None else f"{_number(low)} to {_number(high)}"


def either(words: Sequence[str]) -> str:
    """Return words joined by commas and, before the last, "or"."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"


def _with_keys(schema: Schema) -> str:
    required = list(schema.get("required", ()))
    return "{" + ", ".join(required) + "}" if required else "an object"


def expected(schema: Schema, root: Schema) -> str:
    """Return what a schema takes as a noun phrase: ``a whole number, 1 to 100,000``."""
    schema = resolve(schema, root)
    kind = schema.get("type")
    words = TYPE_WORDS.get(str(kind), "a value")
    if "x-expected" in schema:
        words = str(schema["x-expected"])
    elif "oneOf" in schema:
        words = "an object of one of these shapes: " + either([_with_keys(resolve(b, root)) for b in schema["oneOf"]])
    elif "enum" in schema or "const" in schema:
        words = either([str(word) for word in schema.get("enum", [schema.get("const")])])
    elif kind in ("integer", "number"):
        limits = _bounds(schema.get("minimum"), schema.get("exclusiveMinimum"), schema.get("maximum"))
        words += f", {limits}" if limits else ""
    elif kind == "string":
        limits = _bounds(schema.get("minLength"), None, schema.get("maxLength"))
        words = f"a text of {limits} characters" if limits else "a text"
    elif kind == "array":
        limits = _bounds(schema.get("minItems"), None, schema.get("maxItems"))
        words = f"a list of {limits} entries" if limits else "a list"
    elif kind == "object":
        required = list(schema.get("required", ()))
        words = f"an object with {', '.join(required)}" if required else "an object"
    return words


def known_fields(name: str, parent: Schema) -> str:
    """Return the message for a field that an object does not take, with the nearest or all that it does."""
    known = list(parent.get("properties", {}))
    if len(name) > MAX_TOKEN_CHARACTERS:
        return f"has a key that is not known here: use {either(known)}"
    near = get_close_matches(name, known, n=1)
    return f"is not known here: did you mean {near[0]}?" if near else f"is not known here: use {either(known)}"
