"""``python -m app demo``: an invented shop's batch answered by the rules of thumb, then with what its boxes taught."""

import hashlib
import json
import subprocess
import sys
import tempfile
from datetime import UTC, datetime
from importlib import resources
from importlib.resources.abc import Traversable
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from app.cli.demo_report import demo_report
from app.cli.report import compare_report, hold_report
from app.comparing import answer_compare, answer_hold
from app.ledger import import_csv
from app.problems import Conflict, Problem
from app.schemas import CompareRequest, HoldRequest, RequestBody
from app.serving import ActiveModel, ArtefactError, Engine, FittedModel, from_artefact
from app.settings import Settings
from app.store import Database
from model.reference import Reference

BOXES, LEARNED, ARRAYS = "boxes.csv", "learned.json", "learned.npz"
# After the last of the boxes and before the batch is sent.
LEARNED_AT = datetime(2026, 12, 1, 9, tzinfo=UTC)
COMPARE, HOLD = RequestBody(CompareRequest), RequestBody(HoldRequest)
WAIT = "Learning from the invented boxes first, since no stored fit is of these boxes and tables: about a minute.\n"


class DemoFailed(Problem):
    """Nothing could be learned from the boxes of the demonstration; its reason says why."""

    status = Conflict.status
    code = Conflict.code
    title = "The boxes of the demonstration taught nothing"


def demo_folder() -> Traversable:
    """Return the demonstration data: a package once installed, a folder of its own in the source tree."""
    if find_spec("app.demo") is not None:
        return resources.files("app.demo")
    return Path(__file__).resolve().parents[2] / "data" / "demo"


def demo_text(*, full: bool = False) -> str:
    """Return the demonstration as text, whatever the ledger holds; `full` prints every table, line and caution.

    Raises
    ------
    DemoFailed
        If there is no stored fit of the boxes, and no place to learn from them anew.
    """
    folder = demo_folder()
    batch = json.loads(folder.joinpath("batch.json").read_text(encoding="utf-8"))
    rules = Engine.load()
    learned = Engine.of("demo", learned_model(folder, rules.reference))
    asked = [COMPARE.parse(json.dumps(part["request"]).encode()) for part in batch["comparisons"]]
    held = HOLD.parse(json.dumps(batch["hold"]["request"]).encode())
    titles = [part["title"] for part in (*batch["comparisons"], batch["hold"])]
    if not full:
        answers = answer_compare(asked[0], rules), answer_compare(asked[0], learned)
        hold = answer_hold(held, learned)
        return demo_report(batch["note"], titles[0], asked[0], answers, (rules, learned), (held, hold))
    parts: list[tuple[str, str]] = []
    for title, request in zip(titles[:-1], asked, strict=True):
        for engine, told in ((rules, "by rules of thumb"), (learned, "after learning from own boxes")):
            parts.append((f"{title}: {told}", compare_report(request, answer_compare(request, engine))))
    parts.append((titles[-1], hold_report(held, answer_hold(held, learned))))
    return "\n".join([batch["note"], *(f"\n{title}\n{'=' * len(title)}\n\n{text}" for title, text in parts)])


def learned_model(folder: Traversable, reference: Reference) -> FittedModel:
    """Return the model fitted to the boxes of the folder: the stored one where it is of these boxes and tables.

    Raises
    ------
    DemoFailed
        If there is none, and no place to learn from them anew.
    """
    boxes = folder.joinpath(BOXES).read_bytes()
    try:
        return stored_model(folder, reference)
    except (ArtefactError, FileNotFoundError):
        sys.stderr.write(WAIT)
        return refitted(boxes, reference)


def stored_model(folder: Traversable, reference: Reference) -> FittedModel:
    """Return the fitted model that is stored beside the boxes of the folder.

    Raises
    ------
    FileNotFoundError
        If there is none.
    ArtefactError
        If it is of other boxes or other tables, or damaged.
    """
    stored: dict[str, Any] = json.loads(folder.joinpath(LEARNED).read_text(encoding="utf-8"))
    if stored["boxes_sha256"] != hashlib.sha256(folder.joinpath(BOXES).read_bytes()).hexdigest():
        raise ArtefactError("the stored model of the demonstration is of other boxes")
    return from_artefact(json.dumps(stored["manifest"]), folder.joinpath(ARRAYS).read_bytes(), reference)


def refitted(boxes: bytes, reference: Reference) -> FittedModel:
    """Return the model fitted to a file of boxes, as ``import`` and ``refit`` do it, in a ledger made for it.

    The fit runs in a process of its own, so that this one, which may serve on, never loads what only a fit needs.

    Raises
    ------
    DemoFailed
        If the fit came to nothing.
    """
    with tempfile.TemporaryDirectory() as place:
        settings = Settings(database_url=f"sqlite:///{Path(place) / 'demo.db'}", now=LEARNED_AT)
        with Database(settings.database_url) as database:
            import_csv(boxes, database, reference, replace=False, now=LEARNED_AT)
            command = [sys.executable, "-m", "app", "refit"]
            done = subprocess.run(  # noqa: S603 - no part of it is given by a caller
                command, env=settings.child_environment(), capture_output=True, text=True, check=False
            )
            fit = ActiveModel(database).refresh().fit
    if fit is None:
        raise DemoFailed(f"{done.stdout}{done.stderr}".strip())
    return fit
