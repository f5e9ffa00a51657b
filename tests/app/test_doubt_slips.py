"""What undoing a slip turns a record into, and which names are spellings of one."""

from datetime import date
from typing import Any

import numpy as np
import pytest

from app.doubts.alike import MOST_GENERA, alike, edits, misspelt_genera, misspelt_sellers, recorded_twice
from app.doubts.slips import AS_FAHRENHEIT, DAY_MONTH, FAHRENHEIT, MONTH, dates_hint, possible_slips
from app.doubts.variants import undone
from app.store.arrived import ArrivedBoxes, read_arrived
from app.store.database import Database
from tests.app.fits import fill
from tests.app.ledger_files import REFERENCE, csv_bytes, row


def ledger_of(database: Database, *rows: dict[str, str]) -> ArrivedBoxes:
    """Return a ledger of these rows."""
    fill(database, csv_bytes(*rows))
    with database.reading() as connection:
        return read_arrived(connection)


def dates_without(database: Database, code: str, ship: str, arrival: str) -> set[tuple[str, str]]:
    """Return the dates of a box with slips of a kind undone."""
    name = f"{ship} {arrival}"
    shipments = ledger_of(database, row(shipment=name, ship_date=ship, arrival_date=arrival)).shipments
    i = len(shipments.number) - 1
    slips = [slip for slip in possible_slips(shipments, i) if slip.code == code]
    changed = undone(shipments, np.full(len(slips), i), slips)
    return {(str(a), str(b)) for a, b in zip(changed.ship_date, changed.arrival_date, strict=True)}


def test_a_month_off_is_put_right_within_the_calendar(database: Database) -> None:
    # 30 January and 5 March: a month on from 30 January is the end of February; the other ways leave -25 or 62 days.
    found = dates_without(database, MONTH, "2027-01-30", "2027-03-05")
    assert found == {("2027-02-28", "2027-03-05"), ("2027-01-30", "2027-02-05"), ("2026-12-30", "2027-03-05"),
                     ("2027-01-30", "2027-04-05")}  # fmt: skip


def test_day_and_month_change_places_where_both_can_be_either(database: Database) -> None:
    # 4 March for 3 April: 3 April to 9 April is six days; 9 April can be 4 September, five months on: too long.
    assert dates_without(database, DAY_MONTH, "2027-03-04", "2027-04-09") == {("2027-04-03", "2027-04-09")}
    assert dates_without(database, DAY_MONTH, "2027-03-14", "2027-03-20") == set()


def test_fahrenheit_is_undone(database: Database) -> None:
    """55 °F is 12.8 °C."""
    shipments = ledger_of(database, row(inside_temp_c="55")).shipments
    (slip,) = [slip for slip in possible_slips(shipments, 0) if slip.code == FAHRENHEIT]
    changed = undone(shipments, np.array([0]), [slip])
    assert float(changed.inside_temp_c[0]) == pytest.approx(12.78, abs=0.01)
    assert AS_FAHRENHEIT.of(32.0) == pytest.approx(0.0)
    assert AS_FAHRENHEIT.of(212.0) == pytest.approx(100.0)


def test_a_box_nobody_logged_has_no_slip_of_temperature(database: Database) -> None:
    shipments = ledger_of(database, row()).shipments
    assert {slip.column for slip in possible_slips(shipments, 0)} <= {"ship_date", "arrival_date"}


# Optimal string alignment by hand.
@pytest.mark.parametrize(
    ("one", "other", "n"), [("", "abc", 3), ("kitten", "sitting", 3), ("ferns", "fenrs", 1), ("same", "same", 0)]
)
def test_edits(one: str, other: str, n: int) -> None:
    assert edits(one, other) == edits(other, one) == n


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("Invented Ferns", "invented-ferns", True),
        ("Invented Ferns", "Inventde Ferns", True),
        ("Invented Ferns", "Ferns, Invented", True),
        ("Nowhere Nursery", "Nowhere Nurserry", True),
        ("Nursery A", "Nursery B", False),
        ("Nursery 12", "Nursery 13", False),
        ("Invented Ferns", "Invented Palms", False),
        ("Invented Ferns", "Invented Ferns Export", False),
    ],
)
def test_spellings(one: str, other: str, same: bool) -> None:
    assert alike(one, other) is alike(other, one) is same


def test_the_rarer_spelling_is_doubted_at_its_first_box(database: Database) -> None:
    names = ["Invented Fern", "Invented Ferns", "Invented Ferns", "Nowhere Nursery", "Invented Fern", "Invented Ferns"]
    rows = [row(shipment=f"A-{i}", seller=name) for i, name in enumerate(names)]
    ledger = ledger_of(database, *rows)
    assert list(misspelt_sellers(ledger.shipments)) == [(0, "invented ferns")]


def test_names_of_plants_are_looked_at_in_the_boxes_asked_about_and_not_without_end(database: Database) -> None:
    names = [f"Alocasi{chr(97 + i // 26)}{chr(97 + i % 26)}" for i in range(MOST_GENERA + 100)]
    ledger = ledger_of(database, row(shipment="A", genus="Hoyaa"), *[row(shipment="B", genus=name) for name in names])
    assert list(misspelt_genera(ledger.lines, np.array([0]), REFERENCE)) == [(0, "Hoya")]
    looked_at = list(misspelt_genera(ledger.lines, np.array([1]), REFERENCE))
    assert len(looked_at) == MOST_GENERA
    assert {genus for _, genus in looked_at} == {"Alocasia"}


def test_the_same_box_twice_is_found_whatever_the_order_of_its_lines(database: Database) -> None:
    def box(name: str, *genera: str, **changes: Any) -> list[dict[str, str]]:
        return [row(shipment=name, genus=genus, **changes) for genus in genera]

    ledger = ledger_of(
        database,
        *box("A", "Hoya", "Alocasia"),
        *box("B", "Alocasia", "Hoya"),
        *box("C", "Hoya"),
        *box("D", "Hoya", "Alocasia", arrival_date="2027-01-17"),
    )
    assert list(recorded_twice(ledger)) == [(1, 0)]
    assert ledger.shipments.ship_date[0].astype(object) == date(2027, 1, 11)


@pytest.mark.parametrize(
    ("ship", "arrival", "hint"),
    [
        ((2026, 3, 4), (2026, 2, 9), "; the month may be wrong in ship_date: it would be 5 days"),
        ((2026, 5, 3), (2026, 3, 9), "; day and month may be swapped in ship_date: it would be 4 days"),
        ((2026, 3, 3), (2026, 9, 3), "; day and month may be swapped in arrival_date: it would be 6 days"),
        ((2026, 3, 20), (2026, 9, 20), ""),
    ],
)
def test_dates_that_are_refused_come_with_the_slip_that_explains_them(
    ship: tuple[int, int, int], arrival: tuple[int, int, int], hint: str
) -> None:
    """5 March to 9 March, 3 March to 9 March: the days between dates, by the calendar."""
    assert dates_hint(date(*ship), date(*arrival)) == hint
