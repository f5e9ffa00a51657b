"""Write the answers of the examples anew: ``python -m tests.app.record_examples`` from the top of the repository.

The requests in app/schemas/examples.json are written by hand; the answers are what the service gives to them. Lists of
reference rows are cut after two.
"""

import json
from pathlib import Path
from typing import Any

import app.openapi
from app.main import create_app
from app.settings import Settings
from tests.app.client import Client, running_client

EXAMPLES_FILE = Path(app.openapi.__file__).parent / "schemas" / "examples.json"
N_ROWS = 2


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


def main() -> None:
    """Record the answer of every example."""
    examples = json.loads(EXAMPLES_FILE.read_text(encoding="utf-8"))
    with running_client(create_app(Settings())) as client:
        for name, example in examples.items():
            example["answer"] = answer_to(client, name, example)
    EXAMPLES_FILE.write_text(json.dumps(examples, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
