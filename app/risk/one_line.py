"""One line of plants, asked for by an address: JSON or CSV, and the same for the same model and question."""

import csv
import io
import json
from hashlib import sha256
from typing import Any

from app.problems import InvalidInput
from app.risk.risk import answer_risk
from app.schemas import CsvForm, RiskParameters, by_parameter
from app.serving import Engine, package_version

# Of about 2 kB.
MOST_KNOWN = 1024
DECIMALS = 6


def answer_one(asked: RiskParameters, engine: Engine) -> bytes:
    """Return the answer to one line, JSON or CSV.

    Raises
    ------
    InvalidInput
        For a place code that is not known.
    """
    try:
        answer = answer_risk(asked.request, engine)
    except InvalidInput as problem:
        raise by_parameter(problem) from None
    return answer if asked.csv is None else _as_csv(json.loads(answer), asked.csv)


def etag_of(asked: RiskParameters, engine: Engine) -> str:
    """Return the strong ETag of an answer, quotation marks included: it follows from model, program and question."""
    said = [package_version(), engine.model_version, asked.request.model_dump_json(), repr(asked.csv)]
    return f'"{sha256(json.dumps(said).encode()).hexdigest()[:32]}"'


class KnownAnswers:
    """The last answers by their ETag, so that a sheet that is worked out again costs nothing."""

    def __init__(self) -> None:
        """Know none."""
        self._known: dict[str, bytes] = {}

    def get(self, etag: str) -> bytes | None:
        """Return an answer that is known, None otherwise."""
        return self._known.get(etag)

    def keep(self, etag: str, answer: bytes) -> None:
        """Keep an answer; the one kept longest goes."""
        while len(self._known) >= MOST_KNOWN:
            del self._known[next(iter(self._known))]
        self._known[etag] = answer


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
