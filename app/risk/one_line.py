"""One line of plants, asked for by an address: JSON or CSV, and the same for the same model and question."""

import csv
import io
import json
from hashlib import sha256
from typing import Any, NamedTuple

from app.problems import InvalidInput
from app.risk.risk import answer_risk
from app.schemas import CsvForm, RiskParameters, by_parameter
from app.serving import Engine, package_version

# Of about 2 kB, and addresses of at most so many characters.
MOST_KNOWN, LONGEST_ADDRESS = 1024, 1024
DECIMALS = 6


class OneAnswer(NamedTuple):
    """An answer, its strong ETag with quotation marks, and its media type."""

    etag: str
    content: bytes
    media_type: str


def answer_one(asked: RiskParameters, engine: Engine) -> OneAnswer:
    """Return the answer to one line, JSON or CSV.

    Raises
    ------
    InvalidInput
        For a place code that is not known.
    """
    try:
        content = answer_risk(asked.request, engine)
    except InvalidInput as problem:
        raise by_parameter(problem) from None
    media_type = "application/json"
    if asked.csv is not None:
        content = _as_csv(json.loads(content), asked.csv)
        media_type = f"text/csv; charset=utf-8; header={'present' if asked.csv.header else 'absent'}"
    # It follows from program, model and question, so that it is the same of each server.
    said = [package_version(), engine.model_version, asked.request.model_dump_json(), repr(asked.csv)]
    return OneAnswer(f'"{sha256(json.dumps(said).encode()).hexdigest()[:32]}"', content, media_type)


class KnownAnswers:
    """The last answers by model, address and what is accepted, so that a sheet worked out again costs little."""

    def __init__(self) -> None:
        """Know none."""
        self._known: dict[tuple[str, bytes, bool], OneAnswer] = {}

    def get(self, asked: tuple[str, bytes, bool]) -> OneAnswer | None:
        """Return an answer that is known, None otherwise."""
        return self._known.get(asked)

    def keep(self, asked: tuple[str, bytes, bool], answer: OneAnswer) -> None:
        """Keep an answer; the one kept longest goes."""
        if len(asked[1]) > LONGEST_ADDRESS:
            return
        while len(self._known) >= MOST_KNOWN:
            del self._known[next(iter(self._known))]
        self._known[asked] = answer


def _as_csv(answer: dict[str, Any], form: CsvForm) -> bytes:
    """Return a row of values, with a decimal point; no line end after the last, which a cell would hold too."""
    [result] = answer["results"]
    values: dict[str, object] = {"model_version": answer["model_version"], **result["evidence"]}
    values["equivalent_days"] = round(result["equivalent_days"], DECIMALS)
    values["cautions"] = " ".join(caution["code"] for caution in result["cautions"])
    for name in ("healthy", "damaged", "dead", "healthy_two_weeks"):
        for end in ("mean", "low", "high"):
            values[name if end == "mean" else f"{name}_{end}"] = round(result[name][end], DECIMALS)
    text = io.StringIO()
    writer = csv.writer(text)
    if form.header:
        writer.writerow(form.columns)
    writer.writerow([values[name] for name in form.columns])
    return text.getvalue().removesuffix("\r\n").encode()
