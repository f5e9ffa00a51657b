"""What the ledger counted of each seller, shrunk to all of them."""

from typing import Any
from urllib.parse import quote

import numpy as np
import pytest
from scipy import stats
from sqlalchemy import update

from app.schemas.sellers import ShrunkShare
from app.sellers.figures import DEAD, HONOURED, LATE, read_figures
from app.sellers.shrinkage import Tally
from app.store.database import Database
from app.store.schema import shipments
from tests.app.batches import engine
from tests.app.client import Client
from tests.app.fits import fill
from tests.app.ledger_files import csv_bytes, row
from tests.app.shipment_calls import Box

REFERENCE = engine().reference


def boxes(seller: str, n: int, **cells: Any) -> list[dict[str, str]]:
    return [row(shipment=f"{seller} {i}", seller=seller, **cells) for i in range(n)]


def shares(database: Database, *rows: dict[str, str]) -> Any:
    fill(database, csv_bytes(*rows))
    with database.reading() as connection:
        return read_figures(connection, REFERENCE)


def test_share_is_the_beta_posterior_of_what_was_counted() -> None:
    """Against scipy.stats.beta with parameters by hand."""
    own, everyone = Tally(3, 8, 8, 3, 8), Tally(6, 40, 40, 6, 40)
    share = LATE.shrunk(own, everyone)
    average = (6 + 0.1 * 10) / (40 + 10)  # a p90 is passed by 1 in 10, worth 10 boxes
    a, b = 3 + average * 10, 5 + (1 - average) * 10
    assert share.average == pytest.approx(average)
    assert share.mean == pytest.approx(a / (a + b))
    assert (share.low, share.high) == pytest.approx(tuple(stats.beta(a, b).ppf([0.1, 0.9])))


def test_plants_of_a_box_count_for_less_than_as_many_boxes() -> None:
    # Kish's design effect: 20 plants with correlation 0.2 are worth 20 / (1 + 19 x 0.2) = 25 / 6.
    tally = Tally.of_boxes(np.array([5]), np.array([20]))
    assert (tally.counted, tally.of, tally.boxes) == (5, 20, 1)
    assert (tally.hits, tally.trials) == pytest.approx((25 / 24, 25 / 6))
    single = Tally.of_boxes(np.array([1, 0]), np.array([1, 1]))
    assert (single.hits, single.trials) == (1.0, 2.0)


def test_a_box_is_late_past_nine_in_ten_of_its_service_and_lane(database: Database) -> None:
    # A courier between continents takes 10 days at the 90 % quantile (the rule of thumb); Glasgow is 7 h behind
    # Semarang in January, so 10 dates apart are 10.3 days, and 9 are 9.3.
    figures = shares(
        database,
        *boxes("On Time", 2, arrival_date="2027-01-20"),
        *boxes("Too Late", 2, arrival_date="2027-01-21"),
        row(shipment="x", seller="Too Late", service="post", arrival_date="2027-01-26"),  # 16 days for the post
    )
    assert (figures.late("on time").counted, figures.late("on time").of) == (0, 2)
    assert (figures.late("too late").counted, figures.late("too late").of) == (2, 3)
    assert figures.of("too late").boxes == 3
    assert (str(figures.of("too late").first_ship_date), str(figures.of("too late").last_ship_date)) == (
        "2027-01-11",
        "2027-01-11",
    )


def test_times_decide_where_they_are_known(ledger_client: Client) -> None:
    """Opened 9.9 days after leaving is in time, though the dates are ten apart; 10.1 days are late."""
    for opened, late in (("2027-01-20T23:36:00+00:00", 0), ("2027-01-21T04:24:00+00:00", 1)):
        box = Box(ledger_client, seller=f"Left {opened}")
        box.depart()
        box.arrive(arrived_at=opened)
        shown = ledger_client.get(f"/v1/sellers/{quote(f'Left {opened}')}").json()
        assert (shown["late"]["counted"], shown["late"]["of"]) == (late, 1)


def test_only_known_counts_are_counted(database: Database) -> None:
    figures = shares(
        database,
        row(shipment="1", seller="A", healthy="15", damaged="3", dead="2"),
        row(shipment="2", seller="A", healthy="15", damaged="", dead=""),
        row(shipment="3", seller="A", healthy="", damaged="", dead="4"),
    )
    damaged, dead = figures.damaged("a"), figures.dead("a")
    assert (damaged.counted, damaged.of) == (3, 20)
    assert (dead.counted, dead.of) == (6, 40)


def test_few_boxes_are_said_to_be_too_few_and_many_to_tell(database: Database) -> None:
    bad = {"healthy": "2", "damaged": "3", "dead": "15"}
    good = {"healthy": "20", "damaged": "0", "dead": "0"}
    figures = shares(database, *boxes("Many", 12, **bad), *boxes("Few", 4, **bad), *boxes("Good", 30, **good))
    assert figures.dead("many").text.startswith("More than others: 180 of 240 plants dead")
    assert figures.dead("good").text.startswith("Fewer than others: 0 of 600 plants dead")
    assert figures.dead("few").text == "Too few boxes to tell: 60 of 80 plants dead, in 4 boxes."
    assert figures.dead("nobody").text == "No plants are counted yet."
    # Shrunk: fewer boxes of the same kind stay nearer to the average.
    assert figures.dead("few").average < figures.dead("few").mean < figures.dead("many").mean < 180 / 240


def test_interval_shrinks_with_boxes_and_holds_the_mean() -> None:
    everyone = Tally(100, 1000, 1000, 100, 1000)
    widths = []
    for n in (0, 10, 100):
        share: ShrunkShare = LATE.shrunk(Tally(n // 10, n, n, n / 10, n), everyone)
        assert share.low < share.mean < share.high
        widths.append(share.high - share.low)
    assert widths[0] > widths[1] > widths[2]


def test_claims_are_counted_by_their_end(database: Database) -> None:
    fill(database, csv_bytes(*boxes("A", 6, currency="EUR"), *boxes("B", 1)))
    ends = [("refunded", 12.5), ("refunded", 7.25), ("replaced", None), ("refused", None)]
    with database.writing() as connection:
        for i, (outcome, amount) in enumerate(ends):
            values = {"claim_outcome": outcome, "claim_amount": amount}
            connection.execute(update(shipments).where(shipments.c.reference == f"A {i}").values(values))
    with database.reading() as connection:
        figures = read_figures(connection, REFERENCE)
    claims = figures.claims("a")
    assert (claims.refunded, claims.replaced, claims.refused) == (2, 1, 1)
    assert claims.amounts == {"EUR": 19.75}
    assert (claims.honoured.counted, claims.honoured.of) == (3, 4)
    assert claims.honoured.text.startswith("Too few boxes to tell: 3 of 4 settled claims honoured")
    # 0.7 is the usual chance, worth 10 claims: (3 + 7) / (4 + 10).
    assert claims.honoured.average == pytest.approx(10 / 14)
    nothing = figures.claims("b")
    assert (nothing.refunded, nothing.amounts, nothing.honoured.of) == (0, {}, 0)


def test_empty_ledger_has_what_is_usual(database: Database) -> None:
    with database.reading() as connection:
        figures = read_figures(connection, REFERENCE)
    assert (figures.late("a").average, figures.dead("a").average) == (LATE.share, DEAD.share)
    assert figures.claims("a").honoured.average == HONOURED.share


def test_sellers_show_their_figures(ledger_client: Client) -> None:
    file = csv_bytes(*boxes("A", 2, arrival_date="2027-01-30"), *boxes("B", 1))
    ledger_client.post("/v1/shipments/import", content=file, headers={"content-type": "text/csv"}).raise_for_status()
    first, second = ledger_client.get("/v1/sellers").json()["items"]
    assert (first["name"], first["recorded_boxes"], first["late"]["counted"]) == ("A", 2, 2)
    assert (second["name"], second["recorded_boxes"], second["late"]["counted"]) == ("B", 1, 0)
    assert ledger_client.get("/v1/sellers/a").json() == first
