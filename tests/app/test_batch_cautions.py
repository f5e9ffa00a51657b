"""Cautions that follow from what a batch asks: where it goes, how it travels, who and what has no record."""

import pytest

from tests.app.batches import CARGO, COURIER, Fields, compare, hold, line, order_size


def texts(**fields: object) -> dict[str, list[str]]:
    """Return the texts of the cautions of a comparison by code."""
    said: dict[str, list[str]] = {}
    for caution in compare(draws=256, **fields).cautions:
        said.setdefault(caution.code, []).append(caution.text)
    return said


# The United States, Canada and Australia ask for plants free of soil (APHIS, CFIA, BICON); Derry lies in no table.
@pytest.mark.parametrize(
    ("destination", "asked"), [("LAX", True), ("YYZ", True), ("SYD", True), ("DUB", False), ("AKL", False)]
)
def test_soil_free_by_destination(destination: str, asked: bool) -> None:
    assert ("soil_free" in texts(destination=destination)) == asked


def test_soil_free_is_about_the_destination_not_the_origin() -> None:
    assert "soil_free" not in texts(origin="MIA")


def test_from_and_to_the_same_place_is_answered_and_asked_about_first() -> None:
    asked = compare(draws=256, origin="MAN", destination="MAN").cautions[0]
    assert (asked.code, asked.act) == ("same_place", True)
    assert asked.text.startswith("The box leaves from where it goes, Manchester: ")
    assert "same_place" not in texts(origin="MAN", destination="GLA")


def test_air_cargo_is_told_once_whatever_the_number_of_its_routes() -> None:
    said = texts(routes=[CARGO, CARGO | {"name": "other flight"}, COURIER])
    assert "on air cargo and other flight:" in said["chilled_handling"][0]
    assert [len(said[code]) for code in ("chilled_handling", "carrier_liability", "storage_charges")] == [1, 1, 1]
    assert not {"chilled_handling", "carrier_liability", "storage_charges"} & texts(routes=[COURIER]).keys()


def test_named_cultivars_without_a_record_are_listed_once_by_their_accepted_genus() -> None:
    named = [("Aglaonema", "Invented"), ("Aglaonema", "INVENTED"), ("Calathea", "Second"), ("Hoya", None)]
    lines = [line(genus, 5, cultivar=cultivar) for genus, cultivar in named]
    [said] = texts(lines=lines)["unknown_cultivar"]
    assert said.startswith("No box of Aglaonema INVENTED, Goeppertia Second is recorded")
    # Of a plant that is not known the genus is all there is to say.
    assert "unknown_cultivar" not in texts(lines=[line("Qqqqqq", 5, cultivar="Third")])


def test_named_seller_without_a_record_in_every_answer() -> None:
    named: Fields = {"seller": "Invented Nursery", "draws": 256}
    target = {"line": 0, "healthy": 5, "confidence": 0.8}
    for answer in (compare(**named), hold(**named), order_size(**named, target=target)):
        assert "unknown_seller" in {caution.code for caution in answer.cautions}
    assert "unknown_seller" not in texts()
