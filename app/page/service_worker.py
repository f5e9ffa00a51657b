"""The service worker: a script that keeps the page's files in the browser, named by the hash of their contents."""

import hashlib
import json
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable

from app.page.files import PAGE_HEADERS, PREFIX

PATH = f"{PREFIX}/service-worker.js"
SCRIPT_HEADERS = PAGE_HEADERS | {"Service-Worker-Allowed": "/"}


@cache
def service_worker() -> str:
    """Return the script, with the list of the files to keep and their version filled in."""
    root = files("app.page")
    contents = dict(sorted(_static(root / "static", PREFIX)))
    digest = hashlib.sha256((root / "service_worker.js").read_bytes())
    for path, content in contents.items():
        digest.update(path.encode() + b"\0" + hashlib.sha256(content).digest())
    kept = ["/", *(path for path in contents if path != f"{PREFIX}/index.html")]
    script = (root / "service_worker.js").read_text(encoding="utf-8")
    filled = {"version": digest.hexdigest()[:16], "files": json.dumps(kept)}
    for name, value in filled.items():
        script = script.replace(f"{{{{ {name} }}}}", value)
    return script


def _static(folder: Traversable, prefix: str) -> list[tuple[str, bytes]]:
    """Return the path and the content of each file below a folder."""
    found = []
    for entry in folder.iterdir():
        path = f"{prefix}/{entry.name}"
        found += _static(entry, path) if entry.is_dir() else [(path, entry.read_bytes())]
    return found
