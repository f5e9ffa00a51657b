"""Boxes in a ledger, put there through HTTP; places, plants and prices are invented or public codes."""

from datetime import timedelta
from typing import Any

import httpx

from tests.moments import NOW

BATCH: dict[str, Any] = {
    "origin": "SRG",
    "destination": "GLA",
    "currency": "GBP",
    "packing": {"container": "foam_box", "roots": "damp_wrap", "heat_pack_hours": 72},
    "lines": [
        {"genus": "Aglaonema", "quantity": 20, "unit_cost": 8, "sale_value": 31},
        {"genus": "Hoya", "quantity": 10, "unit_cost": 12.5, "sale_value": 42},
    ],
    "routes": [{"name": "courier", "service": "courier", "freight": 135}],
    "seller": "Invented Ferns",
    "recourse": {"kind": "refund"},
    "draws": 256,
}


def planned(address: str, reference: str, **changes: Any) -> dict[str, Any]:
    """Plan a box that leaves today and return it with its `etag`."""
    body = BATCH | {"ship_date": NOW.date().isoformat(), "reference": reference} | changes
    return _said(httpx.post(f"{address}/v1/shipments", json=body, timeout=30))


def on_its_way(address: str, reference: str, days: float = 4, **changes: Any) -> dict[str, Any]:
    """Plan a box that left so many days ago and return it with its `etag`."""
    left = NOW - timedelta(days=days)
    box = planned(address, reference, ship_date=left.date().isoformat(), **changes)
    return changed(address, box, "PATCH", "", {"departed_at": left.isoformat()})


def arrived(
    address: str, reference: str, counts: list[tuple[int, int, int, int]], days: float = 0, **changes: Any
) -> dict[str, Any]:
    """Return a box opened so many days ago in which (sent, healthy, damaged, dead) of each line were found."""
    box = on_its_way(address, reference, days + 5, **changes)
    names = ("sent", "healthy", "damaged", "dead")
    lines = [{"line": i, **dict(zip(names, line, strict=True))} for i, line in enumerate(counts)]
    opened_at = (NOW - timedelta(days=days)).isoformat()
    return changed(address, box, "PUT", "/arrival", {"arrived_at": opened_at, "lines": lines})


def changed(address: str, box: dict[str, Any], method: str, part: str, body: dict[str, Any]) -> dict[str, Any]:
    """Change a box, or a part of it, and return it as it is then."""
    url = f"{address}/v1/shipments/{box['id']}{part}"
    return _said(httpx.request(method, url, json=body, headers={"If-Match": box["etag"]}, timeout=30))


def read(address: str, box_id: str) -> dict[str, Any]:
    """Return a box with its `etag`."""
    return _said(httpx.get(f"{address}/v1/shipments/{box_id}", timeout=30))


def _said(response: httpx.Response) -> dict[str, Any]:
    response.raise_for_status()
    return {**response.json(), "etag": response.headers["etag"]}
