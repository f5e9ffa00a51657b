"""Write the answers of the examples anew: ``python -m tests.app.record_examples`` from the top of the repository.

The requests in app/schemas/examples.json are written by hand; the answers are what the service gives to them. Lists of
reference rows are cut after two.
"""

import json
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import app.schemas
from app.http.openapi import OPERATIONS
from app.main import create_app
from app.settings import Settings
from tests.app.client import Client, running_client

EXAMPLES_FILE = Path(app.schemas.__file__).with_name("examples.json")
N_ROWS = 2
OUTLOOK_AT = "2027-01-15T08:00:00+00:00"


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
    response = client.request(method, path, **({"json": example["request"]} if "request" in example else {}))
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
    for name, method, end in (
        ("change_shipment", "PATCH", ""),
        ("arrival", "PUT", "/arrival"),
        ("recheck", "PUT", "/recheck"),
    ):
        headers = {"if-match": response.headers["etag"]}
        response = client.request(method, path + end, json=examples[name]["request"], headers=headers)
        yield name, response.raise_for_status().json()
        if name == "arrival":
            yield "claim", client.get(f"{path}/claim").raise_for_status().json()
        if name == "change_shipment":
            yield "outlook", client.get(f"{path}/outlook", params={"at": OUTLOOK_AT}).raise_for_status().json()
    yield "shipment", client.get(path).raise_for_status().json()
    yield "shipments", client.get("/v1/shipments").raise_for_status().json()
    yield "track_record", client.get("/v1/track-record").raise_for_status().json()


def for_reading(answer: dict[str, Any]) -> dict[str, Any]:
    """Return the answer about a shipment without the draws that its forecast is scored by: lists of hundreds."""
    if "forecast" not in answer:
        return answer
    return answer | {"forecast": {name: cell for name, cell in answer["forecast"].items() if name != "scoring"}}


def main() -> None:
    """Record the answer of every example."""
    examples = json.loads(EXAMPLES_FILE.read_text(encoding="utf-8"))
    with TemporaryDirectory() as folder:
        settings = Settings(database_url=f"sqlite:///{Path(folder) / 'ledger.db'}")
        with running_client(create_app(settings)) as client:
            for name, example in examples.items():
                if not OPERATIONS[name].records:
                    example["answer"] = answer_to(client, name, example)
            for name, answer in shipment_life(client, examples):
                examples[name]["answer"] = for_reading(answer)
        settings = Settings(database_url=f"sqlite:///{Path(folder) / 'sellers.db'}")
        with running_client(create_app(settings)) as client:
            for name, answer in seller_record(client, examples):
                examples[name]["answer"] = answer
    EXAMPLES_FILE.write_text(json.dumps(examples, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
