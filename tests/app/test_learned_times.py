"""Times in transit from own boxes: read from the ledger, learned by a refit, used where the buyer gave none."""

import json
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from sqlalchemy import update

from app.batch.lanes import Lane, delay_of, learned_delay
from app.batch.told_days import updated_by
from app.comparing.compare import answer_compare
from app.doubts.slips import OF_TIME
from app.learning.recorded_times import RecordedTimes
from app.main import create_app
from app.schemas.compare import CompareRequest
from app.serving.engine import Engine
from app.serving.learned_times import LearnedTimes
from app.settings import Settings
from app.store.arrived import read_arrived, read_on_the_way
from app.store.database import Database
from app.store.doubts import doubted_shipments
from app.store.schema import shipments
from model.reference.tables import load_reference
from model.transit.transit import TransitQuantiles
from tests.app.batches import BATCH, COURIER, EVERY_DAY, MONDAY
from tests.app.client import Client, running_client
from tests.app.conftest import ON_ONE_DATABASE
from tests.app.fits import FEW_DRAWS, FITTED_AT, fill, fitted, fitted_engine, refit
from tests.app.ledger_files import csv_bytes, row
from tests.moments import NOW

REFERENCE = load_reference()
FIRST_MONDAY = date(2026, 3, 2)
TO_GLASGOW = {"origin": "SRG", "destination": "GLA"}


def box(name: str, days: int, *, ship_date: date = FIRST_MONDAY, **cells: str) -> dict[str, str]:
    """Return a courier box of one line that took so many days by its dates."""
    dates = {"ship_date": ship_date.isoformat(), "arrival_date": (ship_date + timedelta(days=days)).isoformat()}
    return row(shipment=name, inside_temp_c="20", **TO_GLASGOW, **dates, **cells)


def slow(n: int, start: int = 0) -> list[dict[str, str]]:
    """Return boxes that took 8, 9 or 10 days instead of the usual 5, closed on Mondays; losses as of such days."""
    boxes = []
    for i in range(start, start + n):
        rng = np.random.default_rng([7, i])
        healthy = int(rng.binomial(20, np.exp(-0.32 * np.exp(0.5 * rng.standard_normal()))))
        dead = int(rng.binomial(20 - healthy, 0.4))
        counts = {"healthy": f"{healthy}", "damaged": f"{20 - healthy - dead}", "dead": f"{dead}"}
        boxes.append(box(f"S-{i}", 8 + i % 3, ship_date=FIRST_MONDAY + timedelta(weeks=i), **counts))
    return boxes


def set_state(database: Database, names: Sequence[str], state: str, ship_date: date | None = None) -> None:
    """Turn boxes into ones that have not arrived."""
    values: dict[str, Any] = {"state": state, "arrival_date": None}
    if ship_date is not None:
        values["ship_date"] = ship_date
    with database.writing() as connection:
        connection.execute(update(shipments).where(shipments.c.reference.in_(names)).values(**values))


def recorded_times(database: Database, now: datetime = FITTED_AT) -> RecordedTimes:
    with database.reading() as connection:
        return RecordedTimes(read_arrived(connection).shipments, read_on_the_way(connection), REFERENCE, now=now)


def learned_median(times: RecordedTimes) -> float:
    own = times.learn().of("courier", "SRG", "GLA")
    assert own is not None
    return own.quantiles.p50


def activate(database: Database, client: Client) -> None:
    """Refit, and have the server look for the version at once."""
    done = refit(database)
    assert done.state == "activated", done.reason
    client.app.state.active.refresh()


def compared(client: Client, **fields: Any) -> tuple[dict[str, float], str]:
    """Return the time in transit of a courier and why its median is assumed."""
    body = {"ship_date": MONDAY} | BATCH | EVERY_DAY | {"routes": [COURIER]} | fields
    answer = client.post("/v1/compare", json=body)
    assert answer.status_code == 200, answer.text
    why = {item["pointer"]: item["why"] for item in answer.json()["assumed"]}
    days: dict[str, float] = answer.json()["routes"][0]["transit_days"]
    return days, why["/routes/0/transit_days/p50"]


@ON_ONE_DATABASE
def test_from_the_table_to_own_boxes_through_the_routes(database: Database, database_url: str) -> None:
    """Boxes of 8 to 10 days where the table says 3, 5, 10: one hardly counts, eighteen do, those not here yet too."""
    settings = Settings(database_url=database_url, refit_draws=FEW_DRAWS)
    with running_client(create_app(settings)) as client:
        before, why = compared(client)
        assert before["p50"] == pytest.approx(5.0, rel=0.03)
        assert "common practice" in why
        assert client.get("/v1/model").json()["transit"] == []
        fill(database, csv_bytes(*slow(1)))
        activate(database, client)
        one, why = compared(client)
        assert 5.0 < one["p50"] < 7.0
        assert why == "courier SRG-GLA: 1 own box; the table alone says 5 at the median"
        fill(database, csv_bytes(*slow(17, start=1)))
        activate(database, client)
        many, why = compared(client)
        assert many["p50"] == pytest.approx(9.0, rel=0.05)
        assert many["p90"] - many["p10"] < 0.7 * (one["p90"] - one["p10"])
        assert why.startswith("courier SRG-GLA: 18 own boxes;")
        waiting = [box(f"W-{i}", 3) for i in range(6)]
        fill(database, csv_bytes(*waiting))
        set_state(database, [cells["shipment"] for cells in waiting], "in_transit", _monday_before(14))
        activate(database, client)
        censored, why = compared(client)
        assert censored["p50"] > many["p50"] + 0.1
        assert censored["p90"] > many["p90"] + 1.0
        assert why.startswith("courier SRG-GLA: 18 own boxes and 6 on the way;")
        elsewhere, why = compared(client, destination="JFK")
        assert 5.2 < elsewhere["p50"] < many["p50"]
        assert why.startswith("courier: 18 own boxes and 6 on the way on other lanes;")
        own, lane = client.get("/v1/model").json()["transit"]
        diagnostics = client.get("/v1/model").json()["diagnostics"]
    assert (own["origin"], lane["origin"], lane["destination"]) == (None, "SRG", "GLA")
    assert (lane["boxes"], lane["boxes_on_the_way"]) == (18, 6)
    assert (diagnostics["transit_boxes"], diagnostics["transit_boxes_on_the_way"]) == (18, 6)
    assert lane["table"] == {"p10": 3, "p50": 5, "p90": 10, "delay_share": 0.04, "delay_days": 9}
    assert lane["learned"]["p50"] == pytest.approx(censored["p50"], rel=0.03)
    assert lane["learned"]["delay_share"] > 0.04
    assert lane["learned"]["delay_days"] != 9
    assert "18 own boxes and 6 on the way; the table says 5.0, 80 % 3.0-10.0" in lane["text"]
    assert lane["text"].endswith("; the table says 4 % held up, by 9.0 days as a rule")


def _monday_before(days: int) -> date:
    day = NOW.date() - timedelta(days=days)
    return day - timedelta(days=day.weekday())


@ON_ONE_DATABASE
def test_boxes_on_the_way_alone_are_refused_with_the_reason(database: Database) -> None:
    fill(database, csv_bytes(*slow(2)))
    set_state(database, ["S-0", "S-1"], "in_transit")
    done = refit(database)
    assert (done.state, done.version) == ("failed", None)
    assert done.reason is not None
    assert "no arrived boxes to learn from" in done.reason


def test_days_of_a_box_are_those_of_its_dates_without_layover(database: Database) -> None:
    """Semarang is 7 h ahead of Glasgow in winter and 6 h in summer; the table's layover of a Saturday is 2 days."""
    saturday = date(2027, 1, 9)
    fill(database, csv_bytes(box("mon", 5, ship_date=date(2027, 1, 4)), box("sat", 8, ship_date=saturday)))
    one, other = recorded_times(database).days("courier")
    assert one == pytest.approx(5 + 7 / 24)
    assert other == pytest.approx(8 + 7 / 24 - 2)


def test_a_box_opened_on_a_monday_may_have_come_at_the_weekend(database: Database) -> None:
    """15 January 2027 is a Friday, the 18th a Monday: two days without work before it, or none."""
    fill(database, csv_bytes(box("fri", 4, ship_date=date(2027, 1, 11)), box("mon", 6, ship_date=date(2027, 1, 12))))
    rows = recorded_times(database)
    assert rows.days("courier") == pytest.approx([4 + 7 / 24, 6 + 7 / 24 - 1.0])
    # Boxes that may all have waited teach shorter times than boxes that took as long and cannot have waited.
    medians = []
    for name, first in (("on Mondays", date(2027, 1, 12)), ("on Tuesdays", date(2027, 1, 13))):
        boxes = [box(f"{name}-{i}", 6, ship_date=first + timedelta(weeks=i)) for i in range(8)]
        fill(database, csv_bytes(*boxes))
        times = recorded_times(database)
        medians.append(learned_median(times))
    assert medians[1] > medians[0] + 0.1


def test_days_gone_by_run_from_the_closing_of_the_box(database: Database) -> None:
    """Closed at 8 h in Semarang, 1 h UTC; asked at 13 h UTC eleven days later."""
    fill(database, csv_bytes(*slow(1), box("away", 3, ship_date=date(2027, 1, 4))))
    set_state(database, ["away"], "in_transit")
    times = recorded_times(database, datetime(2027, 1, 15, 13, tzinfo=UTC))
    assert (times.n_arrived, times.n_on_the_way) == (1, 1)
    assert times.days("courier")[1] == pytest.approx(11.5)
    early = recorded_times(database, datetime(2027, 1, 1, tzinfo=UTC))
    assert early.days("courier")[1] == 0.0
    assert learned_median(early) == pytest.approx(learned_median(recorded_times(database, FITTED_AT)), rel=0.2)


def test_a_lost_or_forgotten_box_says_nothing_of_how_long_boxes_take(database: Database) -> None:
    fill(database, csv_bytes(*slow(6)))
    without = recorded_times(database)
    fill(database, csv_bytes(box("gone", 3, ship_date=date(2027, 1, 18))))
    set_state(database, ["gone"], "lost")
    lost = recorded_times(database)
    assert lost.learn() == without.learn()
    set_state(database, ["gone"], "in_transit", date(2026, 11, 1))
    assert recorded_times(database).n_on_the_way == 0
    set_state(database, ["gone"], "in_transit", date(2027, 1, 18))
    assert learned_median(recorded_times(database)) > learned_median(lost)


def test_times_that_look_wrong_teach_none_until_they_are_confirmed(database: Database, database_url: str) -> None:
    """Delivered on the day it left, which the refit itself finds: the times are those of the other boxes."""
    fill(database, csv_bytes(*slow(6)))
    others = recorded_times(database).learn()
    fill(database, csv_bytes(box("at once", 0, ship_date=FIRST_MONDAY)))
    settings = Settings(database_url=database_url, refit_draws=FEW_DRAWS)
    with running_client(create_app(settings)) as client:

        def learned() -> tuple[LearnedTimes, dict[str, Any]]:
            refit(database)
            return client.app.state.active.refresh().times, client.get("/v1/model").json()

        times, told = learned()
        assert [lane.quantiles for lane in times.lanes] == [lane.quantiles for lane in others.lanes]
        assert [lane.n_left_out for lane in times.lanes] == [1, 1]
        assert [doubt["code"] for doubt in told["doubtful"]] == ["too_fast"]
        assert told["transit_left_out"].startswith("1 box is left out of the learned times in transit: its times look")
        assert [lane["boxes_left_out"] for lane in told["transit"]] == [1, 1]
        assert "6 own boxes (1 more left out: its times look wrong); the table" in told["transit"][1]["text"]
        path = f"/v1/shipments/{told['doubtful'][0]['id']}"
        with database.reading() as connection:
            assert len(doubted_shipments(connection, OF_TIME)) == 1
        etag = client.get(path).headers["etag"]
        assert client.request("PUT", f"{path}/confirm", headers={"if-match": etag}).status_code == 200
        times, told = learned()
    assert told["transit_left_out"] is None
    assert [lane.n_arrived for lane in times.lanes] == [7, 7]
    assert times.lanes[1].quantiles.p50 < others.lanes[1].quantiles.p50


def test_learned_times_are_never_under_the_least_of_the_table(database: Database) -> None:
    """A courier takes two days at least, whatever a ledger of boxes that came the next day says."""
    fill(database, csv_bytes(*(box(f"N-{i}", 1, ship_date=FIRST_MONDAY + timedelta(weeks=i)) for i in range(12))))
    own = recorded_times(database).learn().of("courier", "SRG", "GLA")
    assert own is not None
    lane = Lane.between(REFERENCE.places["SRG"], REFERENCE.places["GLA"], "courier", REFERENCE)
    assert lane.service.min_days == 2.0
    fastest = lane.solve(own.quantiles, learned_delay(lane.service, own)).transit.quantile([1e-6, 0.5])
    assert (fastest >= 2.0).all()


def test_delayed_boxes_are_those_past_the_tables_p90(database: Database) -> None:
    """Ten days and seven hours are past 10 days; nine days and seven hours are not."""
    fill(database, csv_bytes(*(box(f"D-{days}", days, ship_date=date(2027, 1, 4)) for days in (9, 10))))
    assert recorded_times(database).delayed.tolist() == [False, True]


def test_a_fit_without_the_lane_leaves_the_answer_to_the_table_and_the_buyer(database: Database) -> None:
    """The ledger has courier boxes alone: post is the table's; a time that the buyer gives is taken as given."""
    engine = fitted_engine(csv_bytes(*slow(4)))
    post = {"name": "post", "service": "post", "freight": 150, "handling": 0, "collection": 0}
    given = COURIER | {"name": "given", "transit_days": {"p10": 3, "p50": 5, "p90": 10}}

    def days(answering: Engine) -> list[float]:
        request = {"ship_date": MONDAY} | BATCH | {"routes": [post, given, COURIER]}
        answer = answer_compare(CompareRequest.model_validate_json(json.dumps(request)), answering)
        return [route.transit_days.p50 for route in answer.routes]

    own, rules = days(engine), days(Engine.load())
    assert own[:2] == rules[:2]
    assert own[2] > rules[2] + 1.0
    lane = Lane.between(REFERENCE.places["SRG"], REFERENCE.places["GLA"], "courier", REFERENCE)
    usual = lane.usual(engine.times)
    solved = lane.solve(usual.quantiles, usual.delay).transit
    wanted = [usual.quantiles.p10, usual.quantiles.p50, usual.quantiles.p90]
    np.testing.assert_allclose(solved.quantile([0.1, 0.5, 0.9]), wanted, rtol=0.05)


def test_kappa_is_told_with_and_without_delayed_boxes() -> None:
    late = [
        box(f"late-{i}", 13 + i, ship_date=FIRST_MONDAY + timedelta(weeks=i), healthy="2", dead="15") for i in range(3)
    ]
    # Two of the eight took 10 days by their dates, and 7 hours.
    fit = fitted(csv_bytes(*slow(8), *late))[0]
    check = fit.manifest.delay_check
    assert check is not None
    assert check.n_left_out == 5
    for p10, p50, p90 in (check.kappa, check.without):
        assert 0 < p10 < p50 < p90
    # The Gaussian at the mode says about what the weighted draws say.
    drawn = np.quantile(fit.draws.parameters.kappa, [0.1, 0.5, 0.9])
    np.testing.assert_allclose(check.kappa, drawn, atol=0.25 * (drawn[2] - drawn[0]))
    assert check.kappa != check.without
    assert fitted(csv_bytes(*slow(4)))[0].manifest.delay_check is None


def told(days: list[float] | None, engine: Engine, **fields: Any) -> tuple[float, str]:
    """Return the median of a courier to Glasgow of which such days are told, and why it is assumed."""
    route = COURIER | ({} if days is None else {"recent_days": days}) | fields
    request = {"ship_date": MONDAY} | BATCH | {"routes": [route]}
    answer = answer_compare(CompareRequest.model_validate_json(json.dumps(request)), engine)
    why = {item.pointer: item for item in answer.assumed}
    return float(str(why["/routes/0/transit_days/p50"].value)), why["/routes/0/transit_days/p50"].why


def test_days_that_are_remembered_update_the_usual_ones_and_are_told() -> None:
    """The table says 5 days; whoever remembers 9, 10 and 9 is nearer to those, the more so the more are remembered."""
    rules = Engine.load()
    usual, _ = told(None, rules)
    as_usual, three, twelve = (told(days, rules)[0] for days in ([5.0], [9.0, 10.0, 9.0], [9.0, 10.0, 9.0] * 4))
    assert as_usual == pytest.approx(usual, rel=0.06)
    assert usual + 1.0 < three < twelve < 9.5
    assert told([6, 5.5, 9], rules)[1] == (
        "told: 6, 5.5, 9 days; without them 5 at the median, usual for express courier on this lane (common practice)"
    )
    # Four own boxes of 8 to 10 days are known already: five of 4 days bring the median down, not so far as to 4.
    engine = fitted_engine(csv_bytes(*slow(4)))
    own, why = told(None, engine)
    fewer, updated = told([4.0] * 5, engine)
    assert 4.0 < fewer < own - 0.5
    assert updated == f"told: 4, 4, 4, 4, 4 days; without them {own:.3g} at the median, {why}"


def test_what_is_told_moves_times_less_the_more_boxes_they_were_learned_from() -> None:
    quantiles, delay = TransitQuantiles(4.0, 6.0, 9.0), delay_of(REFERENCE.services["courier"])
    medians = [updated_by(quantiles, delay, 2.0, (10.0,) * 4, known_boxes=n)[0].p50 for n in (0, 10, 100)]
    assert medians[0] > medians[1] + 0.3
    assert medians[1] > medians[2] + 0.3
    assert medians[2] == pytest.approx(6.0, rel=0.05)


@pytest.mark.parametrize(
    ("fields", "pointer"),
    [
        ({"recent_days": []}, "/routes/0/recent_days"),
        ({"recent_days": [5.0] * 21}, "/routes/0/recent_days"),
        ({"recent_days": [6.0, 0.4]}, "/routes/0/recent_days/1"),
        ({"recent_days": [91.0]}, "/routes/0/recent_days/0"),
        ({"recent_days": [6.0], "transit_days": {"p10": 3, "p50": 5, "p90": 10}}, "/routes/0/recent_days"),
    ],
)
def test_days_that_cannot_be_remembered_are_refused(client: Client, fields: dict[str, Any], pointer: str) -> None:
    answer = client.post("/v1/compare", json={"ship_date": MONDAY} | BATCH | {"routes": [COURIER | fields]})
    assert (answer.status_code, [error["pointer"] for error in answer.json()["errors"]]) == (422, [pointer])
