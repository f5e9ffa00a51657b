"""``GET /v1/risk``: one line of plants asked for by the parameters of an address, as a cell of a spreadsheet can."""

import json
import re
from collections.abc import Sequence
from typing import Any, NamedTuple

from app.problems import FieldError, InvalidInput, json_pointer
from app.schemas.request_body import RequestBody
from app.schemas.risk import RiskQuery, RiskRequest

RISK_FORMATS = CSV, JSON = "csv", "json"
NUMBERS = ("transit_days", "heat_pack_hours", "heat_packs", "cold_packs", "inside_c", "min_c", "max_c")
INSIDE, LANE, OUTSIDE = ("inside_c",), ("origin", "destination"), ("min_c", "max_c")
TEMPERATURES = (INSIDE, LANE, OUTSIDE)
PLAIN = tuple(name for name in RiskQuery.model_fields if name != "temperature")
FORM = ("format", "only", "header")
NAMES = (*PLAIN, *INSIDE, *LANE, *OUTSIDE, *FORM)
_CHANCES = ("healthy", "damaged", "dead", "healthy_two_weeks")
RISK_COLUMNS = (
    *(name + end for name in _CHANCES for end in ("", "_low", "_high")),
    "equivalent_days",
    "shipments",
    "plants",
    "weight",
    "cautions",
    "model_version",
)
"""Of the CSV answer, in order."""

_NUMBER = re.compile(r"-?\d+(\.\d+)?")
_BODY = RequestBody(RiskRequest)
# Where a fault of the body lies in the address.
_BEFORE_NAME = re.compile(r"^/queries/0(/temperature(/daily/0)?)?")


class CsvForm(NamedTuple):
    """How a CSV answer is to look: which columns, and whether a row of their names stands before."""

    columns: tuple[str, ...] = RISK_COLUMNS
    header: bool = True


class RiskParameters(NamedTuple):
    """What an address asks for; `csv` is None for JSON."""

    request: RiskRequest
    csv: CsvForm | None


def wants_csv(pairs: Sequence[tuple[str, str]], accepts_csv: bool) -> bool:
    """Whether CSV is asked for, by the parameter `format` or else by the header Accept."""
    return next((value.strip() == CSV for name, value in pairs if name == "format" and value.strip()), accepts_csv)


def read_risk_parameters(pairs: Sequence[tuple[str, str]], *, accepts_csv: bool = False) -> RiskParameters:
    """Return what the parameters of an address ask for; one without a value counts as left out.

    Raises
    ------
    InvalidInput
        If one is missing, unknown, given twice, or not as it should be; the pointer is ``/`` and its name.
    """
    given = {name: value.strip() for name, value in pairs if value.strip()}
    faults = [
        FieldError(json_pointer((name,)), f"is not known here: the parameters are {', '.join(NAMES)}")
        for name in given
        if name not in NAMES
    ]
    names = [name for name, value in pairs if value.strip()]
    faults += [FieldError(json_pointer((name,)), "is given twice") for name in given if names.count(name) > 1]
    kind = _kind(given, faults)
    form = _form(given, faults, wants_csv(pairs, accepts_csv))
    if faults:
        raise InvalidInput(faults)
    return RiskParameters(_request(given, kind), form)


def _kind(given: dict[str, str], faults: list[FieldError]) -> tuple[str, ...]:
    """Return the parameters that say the temperature: exactly one kind of them."""
    kinds = [kind for kind in TEMPERATURES if any(name in given for name in kind)]
    choice = "inside_c, or origin and destination with service and ship_date, or min_c and max_c"
    if len(kinds) == 1:
        return kinds[0]
    said = f"is required: {choice}" if not kinds else f"is one temperature too many: give {choice}"
    faults.append(FieldError(json_pointer((kinds[-1] if kinds else INSIDE)[:1]), said))
    return INSIDE


def _form(given: dict[str, str], faults: list[FieldError], as_csv: bool) -> CsvForm | None:
    """Return how the answer is to look."""
    if given.get("format", CSV) not in (CSV, JSON):
        faults.append(FieldError("/format", "must be csv or json"))
    only, header = given.get("only"), given.get("header")
    columns = tuple(name.strip() for name in only.split(",")) if only else RISK_COLUMNS
    if unknown := [name for name in columns if name not in RISK_COLUMNS]:
        faults.append(
            FieldError(
                "/only",
                f"must be columns with commas between them, of {', '.join(RISK_COLUMNS)}: not {unknown[0][:40]}",
            )
        )
    if header not in (None, "true", "false"):
        faults.append(FieldError("/header", "must be true or false"))
    if not as_csv:
        faults += [
            FieldError(f"/{name}", "is of CSV only: add format=csv") for name in ("only", "header") if name in given
        ]
        return None
    return CsvForm(columns, header == "true" or (header is None and only is None))


def _request(given: dict[str, str], kind: tuple[str, ...]) -> RiskRequest:
    values: dict[str, Any] = {
        name: json.loads(value) if name in NUMBERS and _NUMBER.fullmatch(value) and not _leading_zero(value) else value
        for name, value in given.items()
    }
    temperature: dict[str, Any] = {name: values[name] for name in kind if name in values}
    if kind == OUTSIDE:
        temperature = {"daily": [temperature]}
    elif kind == LANE and "service" in values:
        temperature["service"] = values["service"]
    query = {name: values[name] for name in PLAIN if name in values} | {"temperature": temperature}
    try:
        return _BODY.parse(json.dumps({"queries": [query]}).encode())
    except InvalidInput as problem:
        refusal = by_parameter(problem)
    raise refusal


def by_parameter(problem: InvalidInput) -> InvalidInput:
    """Return the faults of the one query of a body as those of parameters of an address, each once."""
    faults = [error._replace(pointer=_BEFORE_NAME.sub("", error.pointer)) for error in problem.errors]
    return InvalidInput(list({fault.pointer: fault for fault in faults}.values()))


def _leading_zero(value: str) -> bool:
    return re.match(r"-?0\d", value) is not None
