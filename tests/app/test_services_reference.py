"""The reference lists: every row of the tables with source and status."""

import csv
from collections.abc import Callable, Sequence
from importlib import resources

import pytest

from app.schemas.reference import ReferenceRow
from app.serving import reference_lists as reference
from app.serving.engine import Engine
from model.reference.rows import STATUSES
from tests.app.batches import engine

LISTS: dict[str, Callable[[Engine], Sequence[ReferenceRow]]] = {
    "genera": reference.genera,
    "packings": reference.packings,
    "places": reference.places,
    "services": reference.services,
}


def table(name: str) -> list[dict[str, str]]:
    """Return the rows of a reference table as they are written."""
    text = resources.files("model").joinpath("reference", f"{name}.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


@pytest.mark.parametrize("name", LISTS)
def test_every_row_has_a_source_and_a_status(name: str) -> None:
    rows = LISTS[name](engine())
    assert rows
    for row in rows:
        assert row.source
        assert row.status in STATUSES


def test_genera_carry_their_old_names() -> None:
    rows = {row.genus: row for row in reference.genera(engine())}
    assert [*rows] == [row["genus"] for row in table("genera")]
    assert "calathea" in rows["Goeppertia"].names
    assert sum(len(row.names) for row in rows.values()) == len(table("genus_names"))
    anthurium = next(row for row in table("genera") if row["genus"] == "Anthurium")
    assert rows["Anthurium"].time_ratio == float(anthurium["time_ratio"])
    assert rows["Anthurium"].cites is None
    assert rows["Nepenthes"].cites


def test_packings_are_those_a_request_can_name() -> None:
    rows = reference.packings(engine())
    # The codes of the contract; the cuttings box is a preset for checking only.
    assert {row.code for row in rows if row.kind == "container"} == {"foam_box", "lined_carton", "carton"}
    assert {row.code for row in rows if row.kind == "roots"} == {"damp_wrap", "damp_paper", "dry", "plug"}


def test_places_carry_twelve_months_and_a_time_zone() -> None:
    rows = {row.iata: row for row in reference.places(engine())}
    assert len(rows) == len(table("places"))
    dublin = rows["DUB"]
    assert (dublin.city, dublin.time_zone) == ("Dublin", "Europe/Dublin")
    for row in rows.values():
        assert all(low < high for low, high in zip(row.tmin_c, row.tmax_c, strict=True))
        assert len(row.tmin_c) == 12


def test_services_carry_their_legs_in_order() -> None:
    rows = {row.service: row for row in reference.services(engine())}
    assert {*rows} == {"courier", "post", "air_cargo"}
    for row in rows.values():
        assert sum(leg.share for leg in row.legs) == pytest.approx(1.0)
        assert row.legs[0].leg == "wait"
        assert row.delay_leg in {leg.leg for leg in row.legs}
        assert row.transit_days.p10 < row.transit_days.p50 < row.transit_days.p90
    # Freight of one box, common practice.
    assert (rows["courier"].freight_low, rows["courier"].freight_high) == (125, 175)
    assert (rows["air_cargo"].freight_low, rows["air_cargo"].freight_high) == (300, 350)
