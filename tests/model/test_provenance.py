"""Where the values of the tables come from, told straight: counted by table, and shown in the README."""

import re
import subprocess
import sys
from pathlib import Path

from model.reference import CONSTANTS, load_reference
from model.reference.provenance import counted, provenance
from model.reference.rows import read_rows
from tests.model.chilling_lists import HARMED, UNHARMED

README = Path(__file__).parents[2] / "README.md"
REFERENCE = load_reference()
# USDA AH-66 as copied in a trade handbook: short-trip ranges in °C, by the names printed there.
COPIED_RANGES = {
    "Aglaonema": (16, 18), "Codiaeum": (16, 18), "Cordyline": (16, 18), "Chamaedorea": (13, 16),
    "Chrysalidocarpus": (13, 18), "Ardisia": (10, 13), "Schefflera": (10, 13), "Heptapleurum": (10, 13),
}  # fmt: skip
# Of no source but the Montreal Convention 1999: Article 31(2), and the limit of 26 SDR a kg since 28 Dec 2024.
CONVENTION = {"carrier_damage_notice_days": 14, "carrier_delay_notice_days": 21, "carrier_liability_sdr_per_kg": 26}


def accepted(name: str) -> str:
    genus, _ = REFERENCE.find_genus(name)
    assert genus is not None
    return genus.genus


def test_published_is_only_what_the_source_states() -> None:
    """UF RH-93-6 states which plants were unharmed; its Schefflera arboricola is sold under two names."""
    classes = {row.genus for row in REFERENCE.genera.values() if row.class_status == "published"}
    assert classes == {accepted(name) for name in UNHARMED} | {"Heptapleurum"}
    constants = {row["name"] for row in read_rows("constants") if row["status"] == "published"}
    assert {name: getattr(CONSTANTS, name) for name in constants} == CONVENTION
    by_table = {name: statuses["published"] for name, statuses in counted() if statuses["published"]}
    assert by_table == {"genera: class": len(classes), "constants": len(CONVENTION)}


def test_derived_thresholds_are_three_degrees_under_the_copied_range_or_between_two_observations() -> None:
    derived = {row.genus: row for row in REFERENCE.genera.values() if row.threshold_status == "derived"}
    # Qu et al. 2000: injury at 7.2 °C and none at 10 °C.
    assert 7.2 < derived.pop("Spathiphyllum").chill_threshold_c <= 10
    ranges = {accepted(name): (low, high) for name, (low, high) in COPIED_RANGES.items()}
    assert derived.keys() == ranges.keys()
    for name, row in derived.items():
        low, high = ranges[name]
        assert row.chill_threshold_c == low - 3
        assert f"short-trip range {low}-{high} °C" in row.threshold_source


def test_derived_classes_are_those_of_plants_seen_to_be_harmed() -> None:
    derived = {row.genus for row in REFERENCE.genera.values() if row.class_status == "derived"}
    assert derived == {accepted(name) for name in HARMED}


def test_weather_names_author_title_and_year_or_says_from_memory() -> None:
    for row in REFERENCE.weather.values():
        assert row.status == "from memory"
        assert row.source.startswith("from memory: ")


def test_every_row_is_counted_under_its_status() -> None:
    for name, statuses in counted():
        assert statuses.total() == len(read_rows(name.split(":")[0])), name


def test_the_readme_shows_the_counts() -> None:
    shown = README.read_text(encoding="utf-8").split("## Provenance\n", 1)[1].split("\n## ", 1)[0]
    assert "\n".join(re.findall(r"^\|.*$", shown, re.MULTILINE)) == provenance()


def test_the_command_prints_what_the_readme_shows() -> None:
    command = [sys.executable, "-m", "model.reference"]
    printed = subprocess.run(command, cwd=README.parent, capture_output=True, text=True, check=True)
    assert printed.stdout == f"{provenance()}\n"
