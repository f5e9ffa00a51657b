"""The page at ``/docs``: every operation with its fields and examples, plain HTML that loads nothing."""

import base64
import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from html import escape
from typing import Any

from app.http.openapi import KEYS, preferred, success
from app.problems import KINDS
from app.schemas import expected, resolve

STYLE = """
body { font: 1rem/1.5 system-ui, sans-serif; max-width: 60rem; margin: 2rem auto; padding: 0 1rem; color: #1b2a20; }
h2 { margin-top: 2.5rem; border-top: 1px solid #b9c7bd; padding-top: 1rem; }
code, pre { font-family: ui-monospace, monospace; font-size: .875rem; }
pre { background: #f2f5f2; padding: .75rem; overflow: auto; max-height: 24rem; }
table { border-collapse: collapse; }
th, td { text-align: left; vertical-align: top; padding: .25rem .75rem .25rem 0; border-bottom: 1px solid #dde5df; }
"""
_STYLE_HASH = base64.b64encode(hashlib.sha256(STYLE.encode()).digest()).decode()
DOCS_HEADERS = {
    "Content-Security-Policy": (
        f"default-src 'none'; style-src 'sha256-{_STYLE_HASH}'; base-uri 'none'; form-action 'none'; "
        "frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
}


def _table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    def cells(tag: str, row: Sequence[str]) -> str:
        return "<tr>" + "".join(f"<{tag}>{escape(cell)}</{tag}>" for cell in row) + "</tr>"

    return f"<table>{cells('th', head)}{''.join(cells('td', row) for row in rows)}</table>"


def _fields(schema: Mapping[str, Any], root: Mapping[str, Any]) -> str:
    model = resolve(schema, root)
    required = set(model.get("required", ()))
    rows = [
        (name, "required" if name in required else "", expected(field, root), str(field.get("description", "")))
        for name, field in model["properties"].items()
    ]
    return _table(("field", "", "takes", "meaning"), rows)


def _example(title: str, media: Mapping[str, Any]) -> str:
    if "example" not in media:
        return ""
    example = media["example"]
    text = example if isinstance(example, str) else json.dumps(example, indent=2, ensure_ascii=False)
    return f"<h3>{escape(title)}</h3><pre tabindex=0>{escape(text)}</pre>"


def _operation(method: str, path: str, operation: Mapping[str, Any], root: Mapping[str, Any]) -> str:
    parts = [f"<h2 id='{escape(operation['operationId'])}'><code>{escape(method.upper())} {escape(path)}</code></h2>"]
    parts.append(f"<p>{escape(operation.get('description', operation['summary']))}</p>")
    parameters = [p for p in operation.get("parameters", ()) if p["in"] == "query"]
    if parameters:
        rows = [(p["name"], expected(p["schema"], root), p.get("description", "")) for p in parameters]
        parts.append(_table(("parameter", "takes", "meaning"), rows))
    if "requestBody" in operation:
        content = operation["requestBody"]["content"]
        media = preferred(content)
        takes = _fields(media["schema"], root) if "$ref" in media["schema"] else f"<p>Takes {escape(*content)}.</p>"
        parts += [takes, _example("Example request", media)]
    answer = success(dict(operation))
    if "content" in answer:
        parts.append(_example("Its answer", preferred(answer["content"])))
    return "".join(parts)


def docs_page(document: Mapping[str, Any]) -> str:
    """Return the documentation page of an OpenAPI document as HTML."""
    root = {"$defs": document["components"]["schemas"]}
    title = escape(document["info"]["title"])
    operations = "".join(
        _operation(method, path, operation, root)
        for path, methods in document["paths"].items()
        for method, operation in methods.items()
    )
    keys = f"Sent as the header Authorization: Bearer KEY. {KEYS['key']['description']}"
    problems = "".join(
        f"<tr id='problem-{kind.code}'><td>{kind.status}</td><td><code>{kind.code}</code></td>"
        f"<td>{escape(kind.title)}</td></tr>"
        for kind in KINDS
    )
    return (
        f"<!doctype html><html lang=en><head><meta charset=utf-8><meta name=viewport content='width=device-width'>"
        f"<title>{title}</title><style>{STYLE}</style></head><body><h1>{title}</h1>"
        f"<p>{escape(document['info']['description'])} The same as a document for programs: "
        f"<a href='/openapi.json'>openapi.json</a>.</p>{operations}"
        f"<h2>Keys</h2><p>{escape(keys)}</p>"
        f"<h2>Refusals</h2><p>A call that cannot be answered gets a body of the type application/problem+json: what is "
        f"wrong as a whole, and for each fault a JSON pointer to the field and what would be right.</p>"
        f"<table><tr><th>status</th><th>code</th><th>title</th></tr>{problems}</table></body></html>"
    )
