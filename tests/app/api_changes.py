"""What a newer OpenAPI document changes for callers who were written for an older one.

Requests may take more and answers may say less often what they said before; whatever is the other way round breaks
somebody. No Python package that was looked at knows bounds, lists of values or media types.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

Json = Mapping[str, Any]
Side = Literal["request", "answer"]

LOWEST = ("minimum", "exclusiveMinimum", "minLength", "minItems", "minProperties")
HIGHEST = ("maximum", "exclusiveMaximum", "maxLength", "maxItems", "maxProperties")
FORMS = ("pattern", "format")
# What people read and no program depends on.
PROSE = frozenset({"description", "title", "summary", "example", "examples", "x-expected", "tags", "info"})


def bare(part: Any) -> Any:
    """Return a document without its prose and examples; names of fields that are the same words stay."""
    if isinstance(part, list):
        return [bare(value) for value in part]
    if not isinstance(part, dict):
        return part
    kept = {key: value for key, value in part.items() if key not in PROSE}
    named = {"properties", "schemas", "paths", "responses", "content"}
    return {
        key: {name: bare(inner) for name, inner in value.items()}
        if key in named and isinstance(value, dict)
        else bare(value)
        for key, value in kept.items()
    }


@dataclass
class Changes:
    """Each change in a few words, with its place."""

    breaking: list[str] = field(default_factory=list)
    additions: list[str] = field(default_factory=list)


def changes(old: Json, new: Json) -> Changes:
    """Return what the newer document changes."""
    return _Comparison(old, new).run()


class _Comparison:
    """One comparison of two documents; schemas of the same names are compared once a side."""

    def __init__(self, old: Json, new: Json) -> None:
        self._old, self._new, self._found = old, new, Changes()
        self._seen: set[tuple[str, str, Side]] = set()

    def run(self) -> Changes:
        for call, old, new in _pairs(_operations(self._old), _operations(self._new)):
            if old is None or new is None:
                self._say(breaks=new is None, what=f"{call}: {'removed' if new is None else 'added'}")
                continue
            self._parameters(call, old, new)
            self._body(call, old.get("requestBody"), new.get("requestBody"))
            self._answers(call, old["responses"], new["responses"])
            anonymous = [not said.get("security") or {} in said["security"] for said in (old, new)]
            if anonymous[0] != anonymous[1]:
                self._say(breaks=anonymous[0], what=f"{call}: {'asks' if anonymous[0] else 'no longer asks'} for a key")
        return self._found

    def _say(self, what: str, *, breaks: bool) -> None:
        (self._found.breaking if breaks else self._found.additions).append(what)

    def _parameters(self, call: str, old: Json, new: Json) -> None:
        before, after = (
            {f"{p['in']} {p['name']}": p for p in operation.get("parameters", ())} for operation in (old, new)
        )
        for name, was, now in _pairs(before, after):
            where = f"{call}, {name}"
            if now is None:
                self._say(f"{where}: removed", breaks=True)
            elif was is None:
                needed = now.get("required", False)
                self._say(f"{where}: added{' and required' if needed else ''}", breaks=needed)
            else:
                self._required(where, was.get("required", False), now.get("required", False), "request")
                self._schema(where, was["schema"], now["schema"], "request")

    def _body(self, call: str, old: Json | None, new: Json | None) -> None:
        where = f"{call}, body"
        if old is None and new is None:
            return
        if old is None or new is None:
            breaks = new is None or new.get("required", False)
            self._say(f"{where}: {'removed' if new is None else 'added'}", breaks=breaks)
            return
        self._required(where, old.get("required", False), new.get("required", False), "request")
        self._content(where, old["content"], new["content"], "request")

    def _answers(self, call: str, old: Json, new: Json) -> None:
        for status, was, now in _pairs(old, new):
            if was is None or now is None:
                self._say(f"{call}: status {status} {'removed' if now is None else 'added'}", breaks=True)
            else:
                self._content(f"{call}, {status}", was.get("content", {}), now.get("content", {}), "answer")

    def _content(self, where: str, old: Json, new: Json, side: Side) -> None:
        for media, was, now in _pairs(old, new):
            if was is None or now is None:
                self._say(f"{where}: {media} {'removed' if now is None else 'added'}", breaks=now is None)
            else:
                self._schema(where, was["schema"], now["schema"], side)

    def _required(self, where: str, old: bool, new: bool, side: Side) -> None:
        if old != new:
            breaks = new if side == "request" else old
            self._say(f"{where}: {'now required' if new else 'no longer required'}", breaks=breaks)

    def _schema(self, where: str, old: Json, new: Json, side: Side) -> None:
        if side == "request" and "default" in old and old["default"] != new.get("default"):
            self._say(f"{where}: default {old['default']!r} is now {new.get('default')!r}", breaks=True)
        names = _name(old), _name(new)
        if names[0] and names[1]:
            if (*names, side) in self._seen:
                return
            self._seen.add((*names, side))
            where = f"{side} {names[1]}"
        before, after = _branches(old, self._old), _branches(new, self._new)
        for narrow, wide in ((before, after), (after, before)):
            if "integer" in narrow and "integer" not in wide and "number" in wide and "number" not in narrow:
                narrow["number"] = narrow.pop("integer")
                widened = narrow is before
                self._say(
                    f"{where}: {'any number' if widened else 'whole numbers only'}",
                    breaks=widened == (side == "answer"),
                )
        for kind, was, now in _pairs(before, after):
            if was is None or now is None:
                less = now is None
                self._say(f"{where}: {'no longer' if less else 'now also'} {kind}", breaks=less == (side == "request"))
            else:
                self._branch(where, was, now, side)

    def _branch(self, where: str, old: Json, new: Json, side: Side) -> None:
        self._limits(where, old, new, side)
        self._values(where, old, new, side)
        if "items" in old and "items" in new:
            self._schema(f"{where}/items", old["items"], new["items"], side)
        rest = [said.get("additionalProperties", True) for said in (old, new)]
        if isinstance(rest[0], dict) and isinstance(rest[1], dict):
            self._schema(f"{where}/*", rest[0], rest[1], side)
        elif bool(rest[0]) != bool(rest[1]):
            self._say(
                f"{where}: {'takes' if rest[1] else 'no longer takes'} other fields",
                breaks=bool(rest[0]) == (side == "request"),
            )
        needed = [set(said.get("required", ())) for said in (old, new)]
        for name, was, now in _pairs(old.get("properties", {}), new.get("properties", {})):
            place = f"{where}/{name}"
            if now is None:
                self._say(f"{place}: {side} field removed", breaks=True)
            elif was is None:
                breaks = side == "request" and name in needed[1]
                self._say(f"{place}: {side} field added{' and required' if breaks else ''}", breaks=breaks)
            else:
                self._required(place, name in needed[0], name in needed[1], side)
                self._schema(place, was, now, side)

    def _limits(self, where: str, old: Json, new: Json, side: Side) -> None:
        for keyword in (*LOWEST, *HIGHEST):
            was, now = old.get(keyword), new.get(keyword)
            if was != now:
                rises = now is not None and (was is None or now > was)
                falls = now is not None and (was is None or now < was)
                tighter = rises if keyword in LOWEST else falls
                self._say(f"{where}: {keyword} {was} is now {now}", breaks=tighter == (side == "request"))
        for keyword in FORMS:
            was, now = old.get(keyword), new.get(keyword)
            if was != now:
                # Another form is neither more nor less than the one before.
                only_less, only_more = was is None, now is None
                harmless = only_more if side == "request" else only_less
                self._say(f"{where}: {keyword} {was} is now {now}", breaks=not harmless)

    def _values(self, where: str, old: Json, new: Json, side: Side) -> None:
        was, now = _values(old), _values(new)
        if was == now:
            return
        fewer = now is not None and (was is None or bool(was - now))
        more = was is not None and (now is None or bool(now - was))
        for breaks, changed in ((side == "request", fewer), (side == "answer", more)):
            if changed:
                said = f"{_listed(was)} is now {_listed(now)}"
                self._say(f"{where}: values {said}", breaks=breaks)


def _operations(document: Json) -> dict[str, Json]:
    return {
        f"{method.upper()} {path}": operation
        for path, methods in document["paths"].items()
        for method, operation in methods.items()
    }


def _pairs(old: Mapping[str, Any], new: Mapping[str, Any]) -> Iterator[tuple[str, Any, Any]]:
    """Yield what both hold by each name, None where one does not."""
    for name in dict.fromkeys([*old, *new]):
        yield name, old.get(name), new.get(name)


def _name(schema: Json) -> str:
    return str(schema.get("$ref", "")).rpartition("/")[2]


def _branches(schema: Json, document: Json) -> dict[str, Json]:
    """Return the kinds of value that a schema allows, references followed: objects by name where there are several."""
    found: list[tuple[str, Json]] = []

    def follow(part: Json, name: str) -> None:
        if "$ref" in part:
            follow(document["components"]["schemas"][_name(part)], _name(part))
        elif branches := part.get("anyOf", part.get("oneOf")):
            for branch in branches:
                follow(branch, "")
        else:
            found.append((name, part))

    follow(schema, "")
    kinds = [str(part.get("type", "anything")) for _, part in found]
    kept: dict[str, Json] = {}
    for (name, part), kind in zip(found, kinds, strict=True):
        several = kinds.count(kind) > 1
        kept[f"{kind} {name or part.get('format') or part.get('pattern') or len(kept)}" if several else kind] = part
    return kept


def _values(schema: Json) -> frozenset[Any] | None:
    if "const" in schema:
        return frozenset([schema["const"]])
    return frozenset(schema["enum"]) if "enum" in schema else None


def _listed(values: frozenset[Any] | None) -> str:
    return "any" if values is None else ", ".join(sorted(map(str, values)))
