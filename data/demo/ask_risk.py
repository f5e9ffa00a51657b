"""A program that asks for risk: lines of plants from a CSV file, one HTTP call, a table.

Start the server (``python -m app serve``), then ``python data/demo/ask_risk.py``. The standard library is enough. The
file beside this one is invented; one of your own has the same columns, and `cultivar` may be empty.
"""

import argparse
import csv
import json
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any
from urllib.error import HTTPError, URLError
from urllib.request import Request, urlopen

PLANTS = Path(__file__).with_name("plants.csv")
TIMEOUT_S = 60.0


def query(row: Mapping[str, str]) -> dict[str, Any]:
    """Return the query of a row: the air in the box follows from monthly normals along the lane."""
    lane = {name: row[name] for name in ("origin", "destination", "service")}
    return {
        "genus": row["genus"],
        "cultivar": row["cultivar"] or None,
        "service": row["service"],
        "ship_date": row["ship_date"],
        "transit_days": float(row["transit_days"]),
        "temperature": lane,
    }


def ask(server: str, queries: Sequence[Mapping[str, Any]], key: str | None) -> Any:
    """Return the answer of the server to all queries at once.

    Raises
    ------
    HTTPError
        If it refuses them; the body says why.
    URLError
        If it cannot be reached.
    """
    headers = {"Content-Type": "application/json"} | ({"Authorization": f"Bearer {key}"} if key else {})
    body = json.dumps({"queries": queries}).encode()
    request = Request(f"{server}/v1/risk", data=body, headers=headers)  # noqa: S310 - the address is the user's own
    with urlopen(request, timeout=TIMEOUT_S) as response:  # noqa: S310
        return json.load(response)


def table(rows: Sequence[Mapping[str, str]], results: Sequence[Mapping[str, Any]]) -> str:
    """Return a line of text for each row: chances of one plant, and how many are expected to be healthy."""
    head = ("plant", "sent", "healthy (80 %)", "dead", "two weeks on", "expected healthy", "from own boxes")
    cells = [head]
    for row, result in zip(rows, results, strict=True):
        healthy, later = result["healthy"], result["healthy_two_weeks"]
        cells.append(
            (
                f"{row['genus']} {row['cultivar']}".strip(),
                row["quantity"],
                f"{healthy['mean']:.2f} ({healthy['low']:.2f}-{healthy['high']:.2f})",
                f"{result['dead']['mean']:.2f}",
                f"{later['mean']:.2f}",
                f"{int(row['quantity']) * healthy['mean']:.1f}",
                f"{100 * result['evidence']['weight']:.0f} %",
            )
        )
    widths = [max(map(len, column)) for column in zip(*cells, strict=True)]
    return "\n".join(
        "  ".join([line[0].ljust(widths[0]), *(c.rjust(w) for c, w in zip(line[1:], widths[1:], strict=True))])
        for line in cells
    )


def refusal(error: HTTPError) -> str:
    """Return what the server says is wrong, a line a fault: ``/queries/0/genus`` points to the first row's genus."""
    problem = json.loads(error.read())
    faults = [f"{fault['pointer']}: {fault['message']}" for fault in problem.get("errors", ())]
    return "\n".join([problem["detail"], *faults])


def main(arguments: Sequence[str] | None = None) -> int:
    """Ask and print; return 0, or 2 where there is no answer."""
    parser = argparse.ArgumentParser(description="Ask a server for the risk of lines of plants.")
    parser.add_argument("file", nargs="?", type=Path, default=PLANTS, help="CSV; the invented one unless given")
    parser.add_argument("--server", default="http://127.0.0.1:8000")
    parser.add_argument("--key", help="where the server asks for one")
    given = parser.parse_args(arguments)
    with given.file.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    try:
        answer = ask(given.server, [query(row) for row in rows], given.key)
    except HTTPError as error:
        sys.stderr.write(f"{refusal(error)}\n")
        return 2
    except URLError as error:
        sys.stderr.write(f"{given.server} does not answer: {error.reason}\n")
        return 2
    sys.stdout.write(f"{table(rows, answer['results'])}\n\nModel {answer['model_version']}\n")
    cautions = {caution["text"]: None for result in answer["results"] for caution in result["cautions"]}
    sys.stdout.write("".join(f"* {text}\n" for text in cautions))
    return 0


if __name__ == "__main__":
    sys.exit(main())
