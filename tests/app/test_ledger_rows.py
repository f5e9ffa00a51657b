"""The rows of a ledger's file: every bad cell told, by row and column, within a row and over a shipment."""

from datetime import date
from itertools import pairwise

import pytest

from app.ledger.cells import MAX_UNKNOWN_PLACES
from app.ledger.csv_file import parse_ledger
from app.problems import MAX_CELL_ERRORS, InvalidCells
from app.records.ledger import COLUMNS
from model.reference.tables import load_reference
from tests.app.ledger_files import RECHECKED, csv_bytes, csv_text, faults, parsed, row
from tests.moments import NOW

REFERENCE = load_reference()
THREE = "give healthy, damaged and dead, or healthy alone (healthy or not), or dead alone (dead or alive)"


@pytest.mark.parametrize(
    ("changes", "counts"),
    [
        ({}, (15, 3, 2)),
        ({"damaged": "", "dead": ""}, (15, None, None)),
        ({"healthy": "", "damaged": ""}, (None, None, 2)),
        ({"healthy": "0", "damaged": "0", "dead": "20"}, (0, 0, 20)),
    ],
)
def test_a_blank_count_is_unknown_not_zero(changes: dict[str, str], counts: tuple[int | None, ...]) -> None:
    (line,) = parsed(csv_bytes(row(**changes)))[0].lines
    assert (line.healthy, line.damaged, line.dead) == counts


@pytest.mark.parametrize(
    ("hours", "packs", "expected"), [("72", "", 1), ("0", "", 0), ("", "", 0), ("72", "3", 3), ("72", "0", 0)]
)
def test_heat_packs_left_blank(hours: str, packs: str, expected: int) -> None:
    (record,) = parsed(csv_bytes(row(heat_pack_hours=hours, heat_packs=packs)))
    assert (record.heat_packs, record.cold_packs) == (expected, 0)


@pytest.mark.parametrize(
    ("changes", "alive"),
    [
        ({}, "18"),  # healthy and damaged
        ({"healthy": "", "damaged": ""}, "18"),  # sent less dead
        ({"damaged": "", "dead": ""}, "15"),  # healthy alone: 15 to 20
        ({"damaged": "", "dead": ""}, "20"),
    ],
)
def test_recheck_adds_up_to_the_plants_alive(changes: dict[str, str], alive: str) -> None:
    nothing = dict.fromkeys(RECHECKED, "0") | {"recheck_date": "2027-01-30"}
    parsed(csv_bytes(row(**changes) | nothing | {"recheck_gone": alive}))
    wrong = str(int(alive) + (1 if alive != "15" else -1))
    ((at, column, message),) = faults(csv_bytes(row(**changes) | nothing | {"recheck_gone": wrong}))
    assert (at, column) == (2, "recheck_dead")
    assert message.startswith("the recheck must add up to the plants alive at arrival")


def test_lines_that_were_not_looked_at_again() -> None:
    (record,) = parsed(csv_bytes(row(genus="Hoya"), row() | RECHECKED))
    assert record.recheck_date == date(2027, 1, 30)
    assert [line.rechecked for line in record.lines] == [False, True]


PLACE = "must be three letters, the code of an airport or a city, such as BKK"
SERVICE = "must be courier, post or air_cargo"
KIND = "must be grower, exporter or reseller"
RECHECK = "is required with the rest of a recheck"

BAD_CELLS: dict[str, tuple[dict[str, str], str, str]] = {
    "sum": ({"dead": "3"}, "dead", "healthy, damaged and dead must add up to sent"),
    "healthy alone over sent": ({"healthy": "21", "damaged": "", "dead": ""}, "healthy", "must be at most sent"),
    "dead alone over sent": ({"healthy": "", "damaged": "", "dead": "21"}, "dead", "must be at most sent"),
    "no count": ({"healthy": "", "damaged": "", "dead": ""}, "healthy", f"is required: {THREE}"),
    "two counts": ({"damaged": ""}, "damaged", f"is required beside the other counts: {THREE}"),
    "negative": ({"dead": "-2"}, "dead", "must be a whole number, 0 to 100,000"),
    "sent blank": ({"sent": " "}, "sent", "is required"),
    "shipment blank": ({"shipment": ""}, "shipment", "is required"),
    "arrival first": ({"arrival_date": "2027-01-10"}, "arrival_date", "must not be before ship_date"),
    "dates in the future": (
        RECHECKED | {"recheck_date": "2027-11-28"},
        "recheck_date",
        "must not lie in the future: a row tells of a box that has arrived",
    ),
    "arrival months later": (
        {"arrival_date": "2027-05-16"},
        "arrival_date",
        "must be at most 90 days after ship_date",
    ),
    "service": ({"service": "curier"}, "service", f"{SERVICE}: did you mean courier?"),
    "service with a space": ({"service": "air cargo"}, "service", f"{SERVICE}: did you mean air_cargo?"),
    "container": (
        {"container": "Foam Box"},
        "container",
        "must be foam_box, lined_carton or carton: did you mean foam_box?",
    ),
    "roots": ({"roots": "soil"}, "roots", "must be damp_wrap, damp_paper, dry or plug"),
    "seller kind": ({"seller_kind": "growers"}, "seller_kind", f"{KIND}: did you mean grower?"),
    "place": ({"destination": "GLASGOW"}, "destination", PLACE),
    "heat": ({"heat_pack_hours": "241"}, "heat_pack_hours", "must be a number, 0 to 240"),
    "packs": ({"heat_packs": "21"}, "heat_packs", "must be a whole number, 0 to 20"),
    "temperature": ({"inside_temp_c": "75"}, "inside_temp_c", "must be a number, -40 to 60"),
    "lowest above the mean": (
        {"inside_temp_c": "20", "inside_min_c": "21"},
        "inside_min_c",
        "must not be above the mean",
    ),
    "highest below the mean": (
        {"inside_temp_c": "20", "inside_max_c": "19.5"},
        "inside_max_c",
        "must not be below the mean",
    ),
    "highest below the lowest": (
        {"inside_min_c": "20", "inside_max_c": "19.5"},
        "inside_max_c",
        "must not be below the minimum",
    ),
    "fahrenheit out of range": ({"inside_temp_f": "141"}, "inside_temp_f", "must be a number, -40 to 140"),
    "both units": (
        {"inside_temp_c": "20", "inside_temp_f": "68"},
        "inside_temp_f",
        "must be blank beside inside_temp_c: give the temperature once, in °C or in °F",
    ),
    "both units of an extreme": (
        {"inside_max_c": "20", "inside_max_f": "68"},
        "inside_max_f",
        "must be blank beside inside_max_c: give the temperature once, in °C or in °F",
    ),
    "fahrenheit highest below the mean": (
        {"inside_temp_f": "70", "inside_max_f": "69"},
        "inside_max_f",
        "must not be below the mean",
    ),
    "money": ({"unit_cost": "-1"}, "unit_cost", "must be a number, 0 to 1,000,000,000"),
    "currency": ({"currency": "€"}, "currency", "must be three letters, a currency of ISO 4217 such as EUR"),
    "long": ({"genus": "x" * 121}, "genus", "must be a text of up to 120 characters"),
    "nul": ({"genus": "Ho\0ya"}, "genus", "must not contain control characters: save the file again as CSV UTF-8"),
    "recheck early": (RECHECKED | {"recheck_date": "2027-01-15"}, "recheck_date", "must not be before arrival_date"),
    "recheck without a date": (RECHECKED | {"recheck_date": ""}, "recheck_date", RECHECK),
    "recheck without a count": (RECHECKED | {"recheck_gone": ""}, "recheck_gone", f"{RECHECK}: 0 where there are none"),
}


@pytest.mark.parametrize(("changes", "column", "message"), BAD_CELLS.values(), ids=BAD_CELLS)
def test_a_bad_cell_is_named(changes: dict[str, str], column: str, message: str) -> None:
    good = row(shipment="A-0", genus="Hoya")
    assert faults(csv_bytes(good, row(**changes))) == [(3, column, message)]


def test_unknown_place_has_near_codes() -> None:
    ((at, column, message),) = faults(csv_bytes(row(origin="QBK")))
    assert (at, column) == (2, "origin")
    assert message.startswith("must be the code of an airport or a city: did you mean ")


def test_looking_up_unknown_places_has_an_end() -> None:
    codes = [f"{a}{b}{c}" for a in "QX" for b in "QXZJ" for c in "ABCDEFGHIJKLMNOPQRSTUVWXYZ"]
    messages = [message for _, _, message in faults(csv_bytes(*(row(shipment=code, origin=code) for code in codes)))]
    looked_up = [message for message in messages if message.startswith("must be the code")]
    assert len(looked_up) == MAX_UNKNOWN_PLACES
    assert messages[-1] == "was not looked up, after many unknown codes: correct those first"


def test_unknown_genus_is_taken_as_written() -> None:
    assert parsed(csv_bytes(row(genus="Inventia  nova")))[0].lines[0].genus == "Inventia  nova"


def test_codes_may_have_capital_letters() -> None:
    (record,) = parsed(csv_bytes(row(service="Courier", origin="srg", currency="gbp", container=" FOAM_BOX ")))
    assert (record.service, record.origin, record.currency, record.container) == ("courier", "SRG", "GBP", "foam_box")


def test_every_bad_cell_is_listed_in_order() -> None:
    data = csv_bytes(
        row(shipment="A-0", service="train", dead="x", inside_temp_c="hot"),
        row(),
        row(shipment="A-2", ship_date="", arrival_date="soon", sent="-1"),
    )
    assert [(at, column) for at, column, _ in faults(data)] == [
        (2, "service"), (2, "inside_temp_c"), (2, "dead"), (4, "ship_date"), (4, "arrival_date"), (4, "sent"),
    ]  # fmt: skip


def test_a_file_of_faults_lists_the_first() -> None:
    bad = csv_text([row(shipment=f"A-{i}", service="x", origin="", dead="x") for i in range(4000)]).encode()
    with pytest.raises(InvalidCells) as refused:
        parse_ledger(bad, REFERENCE, now=NOW)
    errors = refused.value.errors
    assert (len(errors), refused.value.n_faults) == (MAX_CELL_ERRORS, 12_000)
    assert all((one.row, COLUMNS.index(one.column or "")) < (other.row, COLUMNS.index(other.column or ""))
               for one, other in pairwise(errors))  # fmt: skip
    assert refused.value.detail == (
        "12,000 cells are not as they should be. The first 10,000 are listed. Nothing was imported."
    )
    assert refused.value.lines()[-1] == "and 2,000 more"


def test_rows_of_a_shipment_agree() -> None:
    data = csv_bytes(
        row(),
        row(genus="Hoya", seller="INVENTED Ferns"),
        row(genus="Begonia", destination="JFK", arrival_date="2027-01-17"),
    )
    same = "must be the same in all rows of a shipment: row 2 has another value"
    assert faults(data) == [(4, "destination", same), (4, "arrival_date", same)]


def test_temperatures_of_a_shipment_agree_whatever_their_unit() -> None:
    """71.6 °F are 22 °C: 39.6 above 32, five ninths of which are 22."""
    (record,) = parsed(csv_bytes(row(inside_temp_c="22"), row(genus="Hoya", inside_temp_f="71.6")))
    assert record.inside_temp_c == 22.0
    data = csv_bytes(row(inside_temp_c="22"), row(genus="Hoya", inside_temp_f="71.7"))
    same = "must be the same in all rows of a shipment: row 2 has another value"
    assert faults(data) == [(3, "inside_temp_f", same)]


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"), [("-40", -40.0), ("32", 0.0), ("31.9", -0.06), ("98.6", 37.0), ("140", 60.0)]
)
def test_fahrenheit_is_kept_in_celsius(fahrenheit: str, celsius: float) -> None:
    """Water freezes at 32 °F, blood is at 98.6, and both scales meet at -40; to 0.01 °C."""
    (record,) = parsed(csv_bytes(row(inside_temp_f=fahrenheit)))
    assert record.inside_temp_c == celsius


def test_row_that_stands_twice() -> None:
    data = csv_bytes(row(), row(genus="Hoya"), row())
    assert faults(data) == [
        (4, "shipment", "is the same as row 2: delete one, or add their counts up in one row")
    ]  # fmt: skip


def test_two_lines_of_one_genus_are_two_lines() -> None:
    (record,) = parsed(csv_bytes(row(), row(healthy="16", dead="1")))
    assert [line.healthy for line in record.lines] == [15, 16]


def test_rows_of_a_shipment_need_not_stand_together() -> None:
    one, other = parsed(csv_bytes(row(), row(shipment="A-2"), row(genus="Hoya")))
    assert [line.genus for line in one.lines] == ["Aglaonema", "Hoya"]
    assert other.shipment == "A-2"


def test_arrival_on_the_day_of_departure() -> None:
    parsed(csv_bytes(row(origin="GLA", destination="SRG", arrival_date="2027-01-11")))
