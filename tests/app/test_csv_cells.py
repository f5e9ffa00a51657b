"""One cell as spreadsheets write it: dates and numbers, and what is refused because it may mean two things."""

from datetime import date

import pytest

from app.ledger.csv_cells import CellFault, count_cell, date_cell, number_cell
from app.records.recorded_transit import recorded_transit_days


@pytest.mark.parametrize(
    "cell",
    [
        "2027-01-25", "2027-1-25", "2027/01/25", "25.01.2027", "25.1.2027", "25/01/2027", "01/25/2027", "1/25/2027",
        "25.01.27", "25.1.27", "25/01/27", "01/25/27",
        "25-01-2027", "2027-01-25 00:00:00", "2027-01-25T00:00:00Z", "25/01/2027 0:00",
    ],
)  # fmt: skip
def test_dates(cell: str) -> None:
    assert date_cell(cell) == date(2027, 1, 25)


def test_dates_that_can_be_read_one_way_only() -> None:
    assert date_cell("11.01.2027") == date(2027, 1, 11)
    assert date_cell("05/05/2027") == date(2027, 5, 5)
    assert date_cell("11.01.27") == date(2027, 1, 11)


def test_dates_of_a_file_whose_order_was_said() -> None:
    for cell in ("03/04/2027", "3-4-2027"):
        assert date_cell(cell, "day_first") == date(2027, 4, 3)
        assert date_cell(cell, "month_first") == date(2027, 3, 4)
    assert date_cell("03/04/27", "day_first") == date_cell("03-04-27", "day_first") == date(2027, 4, 3)
    assert date_cell("03/04/27", "month_first") == date(2027, 3, 4)
    with pytest.raises(CellFault, match="is month_first, but"):
        date_cell("01/25/27", "day_first")
    # Points are day first whatever was said; a date that can be read in one way only has to agree.
    assert date_cell("03.04.2027", "month_first") == date(2027, 4, 3)
    assert date_cell("01/25/2027", "month_first") == date(2027, 1, 25)
    with pytest.raises(CellFault, match="is month_first, but the file was said to be day_first"):
        date_cell("01/25/2027", "day_first")


@pytest.mark.parametrize(
    ("cell", "message"),
    [
        ("11/01/2027", "may be read day first or month first"),
        ("11-01-2027", "may be read day first or month first"),
        ("11/01/27", "may be read in more than one order"),
        ("25-01-27", "may be read in more than one order"),
        ("31.04.27", "must be a day of the calendar"),
        ("46398", "looks like a spreadsheet's day number"),
        ("46398.5", "looks like a spreadsheet's day number"),
        ("2027-02-29", "must be a day of the calendar"),
        ("31.04.2027", "must be a day of the calendar"),
        ("13/13/2027", "must be a day of the calendar"),
        ("2027-01-11 08:30", "must be a date written YYYY-MM-DD"),
        ("11 Jan 2027", "must be a date written YYYY-MM-DD"),
        ("1899-12-31", "1900 to 2199"),
        ("٢٠٢٧-01-11", "must be a date written YYYY-MM-DD"),
        ("#####", "must be a date written YYYY-MM-DD"),
    ],
)
def test_dates_that_are_refused(cell: str, message: str) -> None:
    with pytest.raises(CellFault, match=message):
        date_cell(cell)


@pytest.mark.parametrize(
    ("cell", "delimiter", "value"),
    [
        ("2.5", ",", 2.5),
        ("2,5", ",", 2.5),
        ("2,5", ";", 2.5),
        ("+2.50", ",", 2.5),
        (".5", ",", 0.5),
        ("1e3", ",", 1000.0),
        ("1,234.5", ",", 1234.5),
        ("1.234,5", ";", 1234.5),
        ("1,234,567", ",", 1234567.0),
        ("0,125", ",", 0.125),
        ("1.234", ",", 1.234),
        ("1,234", ";", 1.234),
        ("12345,678", ",", 12345.678),
    ],
)
def test_numbers(cell: str, delimiter: str, value: float) -> None:
    assert number_cell(0, 1e9, delimiter=delimiter)(cell) == value


@pytest.mark.parametrize("cell", ["1,234", "12,500"])
def test_number_that_means_two_things_is_refused(cell: str) -> None:
    with pytest.raises(CellFault, match="as a decimal or as thousands"):
        number_cell(0, 1e9, delimiter=",")(cell)
    with pytest.raises(CellFault, match="as a decimal or as thousands"):
        number_cell(0, 1e9, delimiter=";")(cell.replace(",", "."))
    # Where only one of the two fits the range, that one is meant.
    assert number_cell(-40, 60, delimiter=",")(cell) == float(cell.replace(",", "."))


@pytest.mark.parametrize("cell", ["1,234", "1.234,0", "1234.000", "1,234.0", "1234"])
def test_counts(cell: str) -> None:
    assert count_cell(0, 100_000, delimiter=",")(cell) == 1234


@pytest.mark.parametrize(
    "cell",
    ["nan", "inf", "1e999", "0x10", "1_000", "١٢", "1.5", "-1", "100001", "", ".", "-", "1,00,0", "€5", "9" * 5000],
)
def test_what_is_not_a_count(cell: str) -> None:
    with pytest.raises(CellFault, match="must be a whole number, 0 to 100,000"):
        count_cell(0, 100_000, delimiter=",")(cell)


def test_zero_has_no_sign() -> None:
    assert str(number_cell(-40, 60, delimiter=",")("-0")) == "0.0"


@pytest.mark.parametrize(
    ("dates", "zones", "days"),
    [
        # SRG is 7 h ahead of GLA in winter, 6 h in summer.
        (("2027-01-11", "2027-01-16"), ("Asia/Jakarta", "Europe/London"), 5 + 7 / 24),
        (("2027-07-11", "2027-07-16"), ("Asia/Jakarta", "Europe/London"), 5 + 6 / 24),
        (("2027-01-11", "2027-01-16"), ("Europe/London", "Asia/Jakarta"), 5 - 7 / 24),
        (("2027-01-11", "2027-01-11"), ("Europe/London", "Asia/Jakarta"), 0.5),
        # Over the date line: Auckland is 23 h ahead of Honolulu in January.
        (("2027-01-11", "2027-01-11"), ("Pacific/Auckland", "Pacific/Honolulu"), 23 / 24),
    ],
)
def test_recorded_transit_days(dates: tuple[str, str], zones: tuple[str, str], days: float) -> None:
    first, last = map(date.fromisoformat, dates)
    assert recorded_transit_days(first, last, *zones) == pytest.approx(days)
