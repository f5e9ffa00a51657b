"""Write the answers of the examples anew: ``python -m tests.app.record_examples`` from the top of the repository.

The requests in app/schemas/examples.json are written by hand; the answers are what the service gives to them. Lists of
reference rows, and lists of draws, are cut after two. What stands twice is stored where it stands first: see
`app.http.shared_parts`.
"""

import json
from collections.abc import Iterator
from copy import deepcopy
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import app.schemas
from app.http.openapi import OPERATIONS, examples
from app.main import create_app
from app.problems import json_pointer
from app.settings import Settings
from tests.app.client import Client, running_client
from tests.moments import NOW

EXAMPLES_FILE = Path(app.schemas.__file__).with_name("examples.json")
N_ROWS = 2
# Shorter parts are repeated: a reference would say less and save little.
LEAST_CHARACTERS = 400
WIDTH = 120
# Answers are of the version that serves at the start, whatever the examples record.
STILL: dict[str, Any] = {"quick_update": False, "refit_after": "off", "now": NOW}
OUTLOOK_AT = "2026-01-16T08:00:00+00:00"


def paths(client: Client) -> dict[str, tuple[str, str]]:
    """Return (method, path) of each operation, by its name."""
    document = client.get("/openapi.json").json()
    return {
        operation["operationId"]: (method.upper(), path)
        for path, methods in document["paths"].items()
        for method, operation in methods.items()
    }


def answer_to(client: Client, name: str, example: dict[str, Any]) -> Any:
    """Return the answer to an example as it is recorded."""
    method, path = paths(client)[name]
    body = {"json": example["request"]} if "request" in example else {}
    response = client.request(method, path, params=example.get("query"), **body)
    response.raise_for_status()
    answer = response.json()
    if method == "GET":
        answer = {key: value[:N_ROWS] if isinstance(value, list) else value for key, value in answer.items()}
    return answer


def seller_record(client: Client, examples: dict[str, Any]) -> Iterator[tuple[str, Any]]:
    """Yield (operation, answer) of recording the seller in the examples, in an empty ledger."""
    path, headers = "/v1/sellers/Invented%20Ferns", {"if-none-match": "*"}
    response = client.request("PUT", path, json=examples["record_seller"]["request"], headers=headers)
    yield "record_seller", response.raise_for_status().json()
    yield "seller", client.get(path).raise_for_status().json()


def shipment_life(client: Client, examples: dict[str, Any]) -> Iterator[tuple[str, Any]]:
    """Yield (operation, answer) of the life of the shipment in the examples, in an empty ledger."""
    response = client.post("/v1/shipments", json=examples["plan_shipment"]["request"])
    yield "plan_shipment", response.raise_for_status().json()
    path = response.headers["location"]
    # Changed and changed back, so that the examples after it are of the plan as it was.
    for name in ("change_plan", "plan_shipment"):
        headers = {"if-match": response.headers["etag"]}
        response = client.request("PUT", f"{path}/plan", json=examples[name]["request"], headers=headers)
        response.raise_for_status()
        if name == "change_plan":
            yield name, response.json()
    for name, method, end in (
        ("change_shipment", "PATCH", ""),
        ("arrival", "PUT", "/arrival"),
        ("confirm", "PUT", "/confirm"),
        ("recheck", "PUT", "/recheck"),
        # Taken back and recorded again, so that the examples after it have it.
        ("take_back", "POST", "/take-back"),
        ("recheck", "PUT", "/recheck"),
    ):
        headers = {"if-match": response.headers["etag"]}
        response = client.request(method, path + end, json=examples[name].get("request"), headers=headers)
        yield name, response.raise_for_status().json()
        if name == "arrival":
            dates = client.get(f"{path}/calendar").raise_for_status().text
            yield "shipment_calendar", dates
            yield "calendar", dates  # of the only box, were it of the last months
            yield "claim", client.get(f"{path}/claim").raise_for_status().json()
        if name == "change_shipment":
            yield "outlook", client.get(f"{path}/outlook", params={"at": OUTLOOK_AT}).raise_for_status().json()
    yield "shipment", client.get(path).raise_for_status().json()
    yield "shipments", client.get("/v1/shipments").raise_for_status().json()
    yield "track_record", client.get("/v1/track-record").raise_for_status().json()


def for_reading(answer: Any) -> Any:
    """Return the answer about a shipment with the draws that its forecast is scored by cut short: lists of hundreds."""
    if isinstance(answer, str) or not (forecast := answer.get("forecast")):
        return answer
    return answer | {"forecast": forecast | {"scoring": _shortened(forecast["scoring"])}}


def _shortened(part: Any) -> Any:
    """Return JSON whose lists of numbers hold their first two."""
    if isinstance(part, dict):
        return {key: _shortened(value) for key, value in part.items()}
    if not isinstance(part, list):
        return part
    return part[:N_ROWS] if part and isinstance(part[0], float | int) else [_shortened(value) for value in part]


def stored_once(whole: dict[str, Any]) -> Any:
    """Return JSON in which a part that stands twice is replaced, from the second time on, by a reference to the first.

    Requests are written by hand and stay whole.
    """
    first: dict[str, str] = {}

    def stored(part: Any, path: tuple[str | int, ...]) -> Any:
        if not isinstance(part, dict | list):
            return part
        text = json.dumps(part)
        by_hand = path[1:2] == ("request",)
        if len(text) >= LEAST_CHARACTERS:
            if text in first and not by_hand:
                return {"$ref": "#" + first[text]}
            first.setdefault(text, json_pointer(path))
        if isinstance(part, dict):
            return {key: stored(value, (*path, key)) for key, value in part.items()}
        return [stored(value, (*path, i)) for i, value in enumerate(part)]

    return stored(whole, ())


def laid_out(part: Any, indent: int = 0, before: int = 0) -> str:
    """Return JSON as text in which what fits on a line, after `before` characters of its key, stands on one."""
    line = json.dumps(part, ensure_ascii=False)
    if not isinstance(part, dict | list) or indent + before + len(line) < WIDTH:
        return line
    inner = " " * (indent + 1)
    if isinstance(part, dict):
        keys = [f"{json.dumps(key, ensure_ascii=False)}: " for key in part]
        items = [key + laid_out(value, indent + 1, len(key)) for key, value in zip(keys, part.values(), strict=True)]
    else:
        items = [laid_out(value, indent + 1) for value in part]
    opening, closing = "{}" if isinstance(part, dict) else "[]"
    return f"{opening}\n" + ",\n".join(inner + item for item in items) + f"\n{' ' * indent}{closing}"


def main() -> None:
    """Record the answer of every example."""
    recorded = deepcopy(examples())
    with TemporaryDirectory() as folder:
        settings = Settings(database_url=f"sqlite:///{Path(folder) / 'ledger.db'}", **STILL)
        with running_client(create_app(settings)) as client:
            for name, example in recorded.items():
                if not OPERATIONS[name].records:
                    example["answer"] = answer_to(client, name, example)
            for name, answer in shipment_life(client, recorded):
                recorded[name]["answer"] = for_reading(answer)
        settings = Settings(database_url=f"sqlite:///{Path(folder) / 'sellers.db'}", **STILL)
        with running_client(create_app(settings)) as client:
            for name, answer in seller_record(client, recorded):
                recorded[name]["answer"] = answer
    EXAMPLES_FILE.write_text(laid_out(stored_once(recorded)) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
